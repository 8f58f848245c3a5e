"""Evidence sets in, exact joint posteriors out; several faults at once. Knows nothing of diesels, only of arrays.

May import: numpy and `diag.basics`. `model` holds the records, `engine` and `mixture` the questions that can be asked.
What is offered stands in `__init__.pyi`; each name is imported when it is first asked for.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
