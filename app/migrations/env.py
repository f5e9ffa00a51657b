"""Run by Alembic: migrate on the connection, and in the transaction, of the caller."""

from alembic import context

from app.store.schema import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()
