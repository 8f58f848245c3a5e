"""Whether the tests would notice: faults are put into `diag/inference` and `diag/decision`, one at a time."""
