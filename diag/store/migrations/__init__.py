"""The steps from one version of the database to the next, one file a step; Alembic runs them, nothing imports them."""
