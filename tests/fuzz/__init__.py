"""Hostile input to every reader: spoilt files and requests may be read or refused in plain words, and nothing else."""
