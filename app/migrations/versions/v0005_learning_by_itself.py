"""What boxes after a fit say of its draws, and what of the ledger a refit has seen."""

from alembic import op
from sqlalchemy import Column, DateTime, Integer, LargeBinary, MetaData, Table, Text, text

revision = "0005"
down_revision = "0004"

metadata = MetaData(naming_convention={"pk": "pk_%(table_name)s"})

quick_updates = Table(
    "quick_updates",
    metadata,
    Column("version", Text, primary_key=True),
    Column("revision", Integer, primary_key=True, autoincrement=False),
    Column("claimed_at", DateTime(timezone=True), nullable=False),
    Column("found_json", Text),
    Column("draws", LargeBinary),
)


def upgrade() -> None:
    """Add what is missing."""
    metadata.create_all(op.get_bind())
    op.add_column("refits", Column("ledger_revision", Integer))
    # A version is the work of the refit that names it.
    op.execute(
        text(
            "UPDATE refits SET ledger_revision = (SELECT ledger_revision FROM model_versions"
            " WHERE model_versions.version = refits.version) WHERE version IS NOT NULL"
        )
    )
    op.create_index("ix_shipments_corrected_revision", "shipments", ["corrected_revision"])
