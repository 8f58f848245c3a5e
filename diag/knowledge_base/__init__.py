"""Reads, checks and overlays the knowledge; nothing else knows YAML, pydantic or networkx.

May import: `diag.basics`, yaml, pydantic, and networkx where a graph is asked for.
What is offered stands in `__init__.pyi`; each name is imported when it is first asked for.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
