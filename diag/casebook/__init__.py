"""The case: its records, its file (read, checked and written), its changes, and the demo cases.

May import: `diag.knowledge_base`, `diag.basics`. Fault codes live here because a case file needs them.
What is offered stands in `__init__.pyi`; each name is imported when it is first asked for.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
