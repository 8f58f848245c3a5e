"""Tests of the trainer."""
