"""Engine, knowledge and case become a network: plates for the fast engine, and an ordinary network as the reference.

`build` and `weigh` are what the rooms above ask; `reference_network` needs pgmpy, which is imported only there.
May import: `diag.evidence`, `diag.casebook`, `diag.knowledge_base`, `diag.inference`, `diag.basics`, numpy, pgmpy.
What is offered stands in `__init__.pyi`; each name is imported when it is first asked for.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
