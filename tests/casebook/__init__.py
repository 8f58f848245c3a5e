"""Tests of the casebook room."""
