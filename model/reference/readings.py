"""Air temperatures that a record or a forecast may state: beyond them a reading is a fault of logger or unit.

They leave room for the coldest apron and the hottest lorry; no source.
"""

COLDEST_C, WARMEST_C = -40, 60
