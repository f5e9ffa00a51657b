"""Run by Alembic: migrate on the connection, and in the transaction, of the caller."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"], target_metadata=context.config.attributes["metadata"]
)
context.run_migrations()
