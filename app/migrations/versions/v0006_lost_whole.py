"""How likely each box is to have been lost for reasons that no clock knows."""

from alembic import op
from sqlalchemy import Column, Double

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add what is missing."""
    op.add_column("shipments", Column("lost_chance", Double))
