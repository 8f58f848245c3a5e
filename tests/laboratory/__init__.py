"""Tests of the policy laboratory."""
