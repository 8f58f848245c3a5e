"""Tests of the logs room."""
