"""Run by Alembic: migrate on the connection, and in the transaction, of the caller, who is told of each step."""

from collections.abc import Collection, Mapping
from typing import Any

from alembic import context
from alembic.runtime.migration import MigrationContext, MigrationInfo

attributes = context.config.attributes


def _note(ctx: MigrationContext, step: MigrationInfo, heads: Collection[Any], run_args: Mapping[str, Any]) -> None:  # noqa: ARG001 - as Alembic calls it
    attributes["done"].append(step.up_revision_id)


context.configure(connection=attributes["connection"], target_metadata=attributes["metadata"], on_version_apply=_note)
context.run_migrations()
