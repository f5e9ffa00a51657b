"""The tables of the ledger.

Dates are local dates at the place they happened; timestamps are UTC. Texts that hold JSON are kept as given, byte for
byte. Every write happens under one lock (see `app.store.database`), so `ledger.revision` counts the changes in the
order in which they became visible.
"""

from datetime import UTC, datetime

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    DateTime,
    Dialect,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
    text,
)

SCHEMA_VERSION = "0008"
"""The newest migration; a store at this version needs no Alembic."""

NAMING = {
    "pk": "pk_%(table_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
}


class UtcTimestamp(TypeDecorator[datetime]):
    """A moment; it needs an offset on its way in and has UTC on its way out, whatever the database keeps."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Return the moment in UTC.

        Raises
        ------
        ValueError
            If it has no offset.
        """
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a timestamp of the ledger needs an offset")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Return the moment with its offset."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def _count(name: str) -> Column[int]:
    return Column(name, Integer, CheckConstraint(f"{name} >= 0", name=name))


metadata = MetaData(naming_convention=NAMING)

ledger = Table(
    "ledger",
    metadata,
    Column("id", Integer, CheckConstraint("id = 1", name="one_row"), primary_key=True, autoincrement=False),
    Column("revision", Integer, nullable=False),
    Column("last_number", Integer, nullable=False),  # of a shipment; never given twice
    Column("held_at", UtcTimestamp),  # since when the active version is one gone back to by hand; null: it is none
)

sellers = Table(
    "sellers",
    metadata,
    Column("key", Text, primary_key=True),  # the name trimmed, NFC, case folded
    Column("name", Text, nullable=False),
    Column("kind", Text),
    Column("country", Text),
    Column("notes", Text, nullable=False, server_default=""),
    Column("revision", Integer, nullable=False),
    Column("created_at", UtcTimestamp, nullable=False),
    Column("updated_at", UtcTimestamp, nullable=False),
    Column("recourse", Text),  # refund, replacement or none
    Column("packing_json", Text),  # usual container, roots and packs
    Column("answers_json", Text),  # to what a careful buyer asks before the first order
)

shipments = Table(
    "shipments",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),  # in order of creation; not shown
    Column("id", Text, nullable=False, unique=True),
    Column("reference", Text, unique=True),
    Column(
        "state",
        Text,
        CheckConstraint("state IN ('planned', 'in_transit', 'arrived', 'lost')", name="state"),
        nullable=False,
    ),
    Column("revision", Integer, nullable=False),  # of this shipment, for its ETag
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
    Column("departed_at", UtcTimestamp),
    Column("arrival_date", Date),
    Column("arrived_at", UtcTimestamp),
    Column("opened_at", UtcTimestamp),
    Column("inside_temp_c", Double),  # mean of a logger
    Column("inside_min_c", Double),
    Column("inside_max_c", Double),
    Column("currency", Text),
    Column("recheck_date", Date),
    Column("rechecked_at", UtcTimestamp),
    Column("plan_json", Text),
    Column("arrived_revision", Integer),  # ledger.revision that brought the arrival
    Column("corrected_revision", Integer),  # the last that changed what a fit reads; at first the same
    Column("created_at", UtcTimestamp, nullable=False),
    Column("updated_at", UtcTimestamp, nullable=False),
    Column("arrival_notes", Text),
    Column("photos_json", Text),  # names of files, which are not kept here
    Column("recheck_notes", Text),
    Column("claim_outcome", Text),  # refunded, replaced or refused; null while open
    Column("claim_amount", Double),
    Column("claim_settled_on", Date),
    Column("confirmed_revision", Integer),  # the corrected_revision at which its owner said that the record is right
    Column("checked_revision", Integer),  # the corrected_revision at which it was last looked at for slips
    Column("lost_chance", Double),  # that it was lost whole, as it was looked at
    CheckConstraint("state <> 'arrived' OR arrival_date IS NOT NULL", name="arrived_on_a_date"),
    Index(None, "state", "number"),
    Index(None, "arrived_revision"),
    Index(None, "corrected_revision"),
)

lines = Table(
    "lines",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),  # from 0
    Column("genus", Text, nullable=False),  # as written
    Column("cultivar", Text),
    _count("quantity"),  # ordered, where a plan says
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
    # A sum with an unknown count is unknown, and passes.
    CheckConstraint("healthy + damaged + dead = sent", name="sum"),
    CheckConstraint("healthy <= sent AND damaged <= sent AND dead <= sent", name="parts"),
)

logger_readings = Table(
    "logger_readings",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("at", UtcTimestamp, primary_key=True),
    Column("inside_c", Double, nullable=False),
)

events = Table(
    "events",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("at", UtcTimestamp, nullable=False),
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
    Column("created_at", UtcTimestamp, nullable=False),
)

shipment_history = Table(
    "shipment_history",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("revision", Integer, primary_key=True, autoincrement=False),  # of the version that was replaced
    Column("reason", Text, nullable=False),
    Column("snapshot_json", Text, nullable=False),
    Column("replaced_at", UtcTimestamp, nullable=False),
)

idempotency_keys = Table(
    "idempotency_keys",
    metadata,
    Column("key", Text, primary_key=True),
    Column("body_sha256", Text, nullable=False),
    Column("status", Integer),  # null while the first call runs
    Column("headers_json", Text),
    Column("answer", LargeBinary),
    Column("created_at", UtcTimestamp, nullable=False),
    Index(None, "created_at"),
)

model_versions = Table(
    "model_versions",
    metadata,
    Column("version", Text, primary_key=True),
    Column("manifest_json", Text, nullable=False),
    Column("arrays", LargeBinary, nullable=False),  # an .npz of plain arrays
    Column("ledger_revision", Integer, nullable=False),  # what the fit has seen
    Column("active", Boolean, nullable=False, server_default=text("false")),
    Column("created_at", UtcTimestamp, nullable=False),
    Column("passed", Boolean),  # whether the gate let it pass, activated or not
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
    Column("created_at", UtcTimestamp, nullable=False),
    Column("started_at", UtcTimestamp),
    Column("seen_at", UtcTimestamp),  # last sign of life of the process that runs it
    Column("finished_at", UtcTimestamp),
    Column("ledger_revision", Integer),  # that it saw, null where it was stopped before its end
    Column("by_itself", Boolean),  # nobody asked for it
    Index(None, "state"),
)

doubts = Table(
    "doubts",
    metadata,
    Column("shipment", ForeignKey("shipments.number", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("corrected_revision", Integer, nullable=False),  # of the record that was looked at
    Column("line", Integer),  # its position; null: the shipment as a whole
    Column("column", Text, nullable=False),
    Column("code", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("chance", Double),  # null: no matter of chance
)

quick_updates = Table(
    "quick_updates",
    metadata,
    Column("version", Text, primary_key=True),  # whose draws are weighed; the rules of thumb too
    Column("revision", Integer, primary_key=True, autoincrement=False),  # that last changed an arrived box
    Column("claimed_at", UtcTimestamp, nullable=False),  # by the process that works on it
    Column("found_json", Text),  # null while it is worked on
    Column("draws", LargeBinary),  # an .npy of which draw stands in each place; null where the draws stay as they are
)

api_keys = Table(
    "api_keys",
    metadata,
    Column("id", Text, primary_key=True),  # shown in the key itself, so that one row is looked up
    Column("name", Text, nullable=False),
    Column("scope", Text, CheckConstraint("scope IN ('read', 'write')", name="scope"), nullable=False),
    Column("secret_sha256", Text, nullable=False),
    Column("created_at", UtcTimestamp, nullable=False),
    Column("revoked_at", UtcTimestamp),
    Column("expires_at", UtcTimestamp),  # null: does not expire
    Column("last_used_at", UtcTimestamp),  # to within half a minute
)
