"""Tests of the room that says why."""
