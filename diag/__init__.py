"""diag: from complaint to repair, a reasoning engine for diesel workshops.

Rooms, arrows pointing downwards only: cli, report, decision, network, evidence, casebook, knowledge_base,
inference, basics. Each room's `__init__` is its only door.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
