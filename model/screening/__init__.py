"""How likely a record is as it stands, and with a slip undone: temperatures, days, counts, and what they say together.

Numbers in, log densities and chances out; what a slip is, in words and columns, is the application's.
"""

from model.screening.evidence import (
    log_days_chance,
    log_temperature_density,
    log_uniform_counts,
    log_uniform_days,
    log_uniform_temperature,
    slip_chances,
)

__all__ = [
    "log_days_chance",
    "log_temperature_density",
    "log_uniform_counts",
    "log_uniform_days",
    "log_uniform_temperature",
    "slip_chances",
]
