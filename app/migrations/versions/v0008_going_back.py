"""That a version was gone back to by hand, which versions wait for that, and whether a refit was asked for by hand."""

from alembic import op
from sqlalchemy import Boolean, Column, DateTime

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add what is missing; of earlier versions what a refit activated counts as let pass."""
    op.add_column("ledger", Column("held_at", DateTime(timezone=True)))
    op.add_column("model_versions", Column("passed", Boolean))
    op.add_column("refits", Column("by_itself", Boolean))
    op.execute(
        "UPDATE model_versions SET passed = true"
        " WHERE version IN (SELECT version FROM refits WHERE state = 'activated' AND version IS NOT NULL)"
    )
