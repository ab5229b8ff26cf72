"""Alembic migrations of the record store; ``versions`` holds one module per step."""
