"""Run by Alembic: migrate on the connection, and in the transaction, of the caller, who is told of each step."""

from typing import Any

from alembic import context

attributes = context.config.attributes


def _note(*, step: Any, **_rest: Any) -> None:
    attributes["done"].append(step.up_revision_id)


context.configure(connection=attributes["connection"], target_metadata=attributes["metadata"], on_version_apply=_note)
context.run_migrations()
