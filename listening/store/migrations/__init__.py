"""How an older store becomes a current one, step by step, on either engine (Alembic)."""
