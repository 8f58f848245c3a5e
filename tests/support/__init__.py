"""Shared helpers of the tests: slow exact answers, random models, reference networks.

May import: numpy, hypothesis, pgmpy, pyagrum, and `diag` through its doors.
"""
