"""The extremes of a logger beside its mean; where its readings are recorded, theirs."""

from alembic import op
from sqlalchemy import Column, Double, Integer, MetaData, Table, func, select

revision = "0003"
down_revision = "0002"

metadata = MetaData()
shipments = Table(
    "shipments",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("inside_min_c", Double),
    Column("inside_max_c", Double),
)
logger_readings = Table("logger_readings", metadata, Column("shipment", Integer), Column("inside_c", Double))


def upgrade() -> None:
    """Add the columns, and fill them in for boxes with a trace."""
    for name in ("inside_min_c", "inside_max_c"):
        op.add_column("shipments", Column(name, Double))
    own = logger_readings.c.shipment == shipments.c.number
    extremes = {
        name: select(extreme(logger_readings.c.inside_c)).where(own).scalar_subquery()
        for name, extreme in (("inside_min_c", func.min), ("inside_max_c", func.max))
    }
    op.get_bind().execute(shipments.update().values(extremes))
