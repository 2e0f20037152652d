"""Alembic's steps from each schema version to the next."""
