"""Tests of the doubt of an advice."""
