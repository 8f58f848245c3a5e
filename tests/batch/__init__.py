"""Large tables of cases."""
