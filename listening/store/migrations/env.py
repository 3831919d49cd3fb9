"""Run by Alembic: migrates on the connection that `listening.store.schema` hands over."""

from alembic import context

from listening.store import tables

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=tables.metadata, render_as_batch=True)
context.run_migrations()
