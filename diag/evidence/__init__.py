"""Answers and readings become likelihoods: of one finding over its versions, of one reading's hidden true value.

May import: numpy, `diag.casebook`, `diag.knowledge_base`, `diag.basics`.
What is offered stands in `__init__.pyi`; each name is imported when it is first asked for.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
