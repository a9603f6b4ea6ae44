"""The forms that the tables have had, one revision a file (Alembic)."""
