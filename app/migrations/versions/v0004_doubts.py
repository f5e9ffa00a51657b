"""Records that look wrong, and those that their owner has confirmed."""

from alembic import op
from sqlalchemy import Column, Double, ForeignKey, Integer, MetaData, Table, Text

revision = "0004"
down_revision = "0003"

metadata = MetaData(naming_convention={"pk": "pk_%(table_name)s", "fk": "fk_%(table_name)s_%(column_0_name)s"})

shipments = Table("shipments", metadata, Column("number", Integer, primary_key=True))

doubts = Table(
    "doubts",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("corrected_revision", Integer, nullable=False),
    Column("line", Integer),
    Column("column", Text, nullable=False),
    Column("code", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("chance", Double),
)


def upgrade() -> None:
    """Add what is missing."""
    doubts.create(op.get_bind())
    op.add_column("shipments", Column("confirmed_revision", Integer))
    op.add_column("shipments", Column("checked_revision", Integer))
