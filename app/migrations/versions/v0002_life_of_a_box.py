"""Keys, what a careful buyer asks of a seller, and what an arrival and its claim leave behind."""

from typing import Any

from alembic import op
from sqlalchemy import CheckConstraint, Column, Date, DateTime, Double, MetaData, Table, Text

revision = "0002"
down_revision = "0001"

metadata = MetaData(naming_convention={"pk": "pk_%(table_name)s", "ck": "ck_%(table_name)s_%(constraint_name)s"})

api_keys = Table(
    "api_keys",
    metadata,
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("scope", Text, CheckConstraint("scope IN ('read', 'write')", name="scope"), nullable=False),
    Column("secret_sha256", Text, nullable=False),
    Column("created_at", DateTime(timezone=True), nullable=False),
    Column("revoked_at", DateTime(timezone=True)),
)


def upgrade() -> None:
    """Add what is missing."""
    metadata.create_all(op.get_bind())
    added: list[Column[Any]] = [Column("recourse", Text), Column("packing_json", Text), Column("answers_json", Text)]
    for column in added:
        op.add_column("sellers", column)
    added = [
        Column("arrival_notes", Text),
        Column("photos_json", Text),
        Column("recheck_notes", Text),
        Column("claim_outcome", Text),
        Column("claim_amount", Double),
        Column("claim_settled_on", Date),
    ]
    for column in added:
        op.add_column("shipments", column)
