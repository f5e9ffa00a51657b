"""What a ledger's record is: its columns, its lines, its days in transit, the version that a change is meant for.

Stands below the store: no SQL, no HTTP.
"""

from app.records.ledger import (
    COLUMNS,
    COUNT_COLUMNS,
    FAHRENHEIT_COLUMNS,
    FILE_COLUMNS,
    FITTED_COLUMNS,
    LINE_COLUMNS,
    RECHECK_COLUMNS,
    REQUIRED_COLUMNS,
    SHIPMENT_COLUMNS,
    Cell,
    LineRecord,
    ShipmentRecord,
    differing_columns,
    seller_key,
)
from app.records.preconditions import Preconditions
from app.records.recorded_transit import (
    LONGEST_DAYS,
    MOST_AHEAD,
    NOON,
    SECONDS_A_DAY,
    SHORTEST_DAYS,
    arrival_fault,
    known_transit_days,
    local_date,
    timed_transit_days,
)

__all__ = [
    "COLUMNS",
    "COUNT_COLUMNS",
    "FAHRENHEIT_COLUMNS",
    "FILE_COLUMNS",
    "FITTED_COLUMNS",
    "LINE_COLUMNS",
    "LONGEST_DAYS",
    "MOST_AHEAD",
    "NOON",
    "RECHECK_COLUMNS",
    "REQUIRED_COLUMNS",
    "SECONDS_A_DAY",
    "SHIPMENT_COLUMNS",
    "SHORTEST_DAYS",
    "Cell",
    "LineRecord",
    "Preconditions",
    "ShipmentRecord",
    "arrival_fault",
    "differing_columns",
    "known_transit_days",
    "local_date",
    "seller_key",
    "timed_transit_days",
]
