"""What the engine costs, printed and never asserted: `python -m tests.benchmarks.growth`, `.v8`, `.six_cylinders`.

May import: numpy, the standard library, `diag` through its doors, and `tests.support`.
"""
