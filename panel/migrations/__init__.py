"""Alembic migrations, run at start."""
