"""Tests of the evidence room."""
