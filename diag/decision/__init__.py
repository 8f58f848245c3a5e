"""Costs, come-backs, plans and the value of a check: what to repair, what to check next, when to stop checking.

The objective is written down in `objective`. May import: casebook, knowledge_base, inference, basics and numpy; what it
needs of a case's network is in `needs`.
What is offered stands in `__init__.pyi`; each name is imported when it is first asked for.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
