"""Tests of the decision room: lives, sequences, the objective, the search, and the worth of checks."""
