"""The first tables of the ledger.

A migration is a record of what was done: the tables stand here as they were, whatever app.store.schema says later.
"""

from alembic import op
from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    DateTime,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    text,
)

revision = "0001"
down_revision = None

NAMING = {
    "pk": "pk_%(table_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
}


def _count(name: str) -> Column[int]:
    return Column(name, Integer, CheckConstraint(f"{name} >= 0", name=name))


metadata = MetaData(naming_convention=NAMING)

ledger = Table(
    "ledger",
    metadata,
    Column("id", Integer, CheckConstraint("id = 1", name="one_row"), primary_key=True, autoincrement=False),
    Column("revision", Integer, nullable=False),
    Column("last_number", Integer, nullable=False),
)

sellers = Table(
    "sellers",
    metadata,
    Column("key", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("kind", Text),
    Column("country", Text),
    Column("notes", Text, nullable=False, server_default=""),
    Column("revision", Integer, nullable=False),
    Column("created_at", DateTime(timezone=True), nullable=False),
    Column("updated_at", DateTime(timezone=True), nullable=False),
)

shipments = Table(
    "shipments",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("id", Text, nullable=False, unique=True),
    Column("reference", Text, unique=True),
    Column(
        "state",
        Text,
        CheckConstraint("state IN ('planned', 'in_transit', 'arrived', 'lost')", name="state"),
        nullable=False,
    ),
    Column("revision", Integer, nullable=False),
    Column("seller", ForeignKey("sellers.key")),
    Column("seller_kind", Text),
    Column("service", Text, nullable=False),
    Column("origin", Text, nullable=False),
    Column("destination", Text, nullable=False),
    Column("container", Text, nullable=False),
    Column("roots", Text, nullable=False),
    Column("heat_pack_hours", Double, nullable=False),
    _count("heat_packs"),
    _count("cold_packs"),
    Column("ship_date", Date, nullable=False),
    Column("departed_at", DateTime(timezone=True)),
    Column("arrival_date", Date),
    Column("arrived_at", DateTime(timezone=True)),
    Column("opened_at", DateTime(timezone=True)),
    Column("inside_temp_c", Double),
    Column("currency", Text),
    Column("recheck_date", Date),
    Column("rechecked_at", DateTime(timezone=True)),
    Column("plan_json", Text),
    Column("arrived_revision", Integer),
    Column("corrected_revision", Integer),
    Column("created_at", DateTime(timezone=True), nullable=False),
    Column("updated_at", DateTime(timezone=True), nullable=False),
    CheckConstraint("state <> 'arrived' OR arrival_date IS NOT NULL", name="arrived_on_a_date"),
    Index(None, "state", "number"),
    Index(None, "arrived_revision"),
)

lines = Table(
    "lines",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("genus", Text, nullable=False),
    Column("cultivar", Text),
    _count("quantity"),
    _count("sent"),
    _count("healthy"),
    _count("damaged"),
    _count("dead"),
    Column("unit_cost", Double),
    Column("sale_value", Double),
    Column("note", Text, nullable=False, server_default=""),
    _count("recheck_healthy"),
    _count("recheck_damaged"),
    _count("recheck_dead"),
    _count("recheck_gone"),
    CheckConstraint("healthy + damaged + dead = sent", name="sum"),
    CheckConstraint("healthy <= sent AND damaged <= sent AND dead <= sent", name="parts"),
)

logger_readings = Table(
    "logger_readings",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("at", DateTime(timezone=True), primary_key=True),
    Column("inside_c", Double, nullable=False),
)

events = Table(
    "events",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("at", DateTime(timezone=True), nullable=False),
    Column("kind", Text, nullable=False),
    Column("note", Text, nullable=False, server_default=""),
    UniqueConstraint("shipment", "at", "kind", "note"),
)

forecasts = Table(
    "forecasts",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("model_version", Text, nullable=False),
    Column("seed", BigInteger, nullable=False),
    Column("answer_json", Text, nullable=False),
    Column("created_at", DateTime(timezone=True), nullable=False),
)

shipment_history = Table(
    "shipment_history",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("revision", Integer, primary_key=True, autoincrement=False),
    Column("reason", Text, nullable=False),
    Column("snapshot_json", Text, nullable=False),
    Column("replaced_at", DateTime(timezone=True), nullable=False),
)

idempotency_keys = Table(
    "idempotency_keys",
    metadata,
    Column("key", Text, primary_key=True),
    Column("body_sha256", Text, nullable=False),
    Column("status", Integer),
    Column("headers_json", Text),
    Column("answer", LargeBinary),
    Column("created_at", DateTime(timezone=True), nullable=False),
    Index(None, "created_at"),
)

model_versions = Table(
    "model_versions",
    metadata,
    Column("version", Text, primary_key=True),
    Column("manifest_json", Text, nullable=False),
    Column("arrays", LargeBinary, nullable=False),
    Column("ledger_revision", Integer, nullable=False),
    Column("active", Boolean, nullable=False, server_default=text("false")),
    Column("created_at", DateTime(timezone=True), nullable=False),
    Index(
        "ix_model_versions_one_active",
        "active",
        unique=True,
        sqlite_where=text("active"),
        postgresql_where=text("active"),
    ),
)

refits = Table(
    "refits",
    metadata,
    Column("id", Text, primary_key=True),
    Column(
        "state",
        Text,
        CheckConstraint("state IN ('queued', 'running', 'activated', 'kept', 'failed')", name="state"),
        nullable=False,
    ),
    Column("version", ForeignKey("model_versions.version")),
    Column("reason", Text),
    Column("created_at", DateTime(timezone=True), nullable=False),
    Column("started_at", DateTime(timezone=True)),
    Column("seen_at", DateTime(timezone=True)),
    Column("finished_at", DateTime(timezone=True)),
    Index(None, "state"),
)


def upgrade() -> None:
    """Create the tables, and the one row of the ledger."""
    connection = op.get_bind()
    metadata.create_all(connection, checkfirst=False)
    connection.execute(ledger.insert().values(id=1, revision=0, last_number=0))
