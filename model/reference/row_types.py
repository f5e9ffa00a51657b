"""What a row of each reference table says: one frozen dataclass a table, its fields the columns."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.reference.rows import STATUSES


@dataclass(frozen=True, slots=True, eq=False)
class Genus:
    """A genus of the trade; `time_ratio` is the days it keeps against an average aroid's, packed alike at 20 °C.

    Time ratio, threshold and class have each a source and a status; `note` says what else is to be known of the genus.
    """

    genus: str
    group: str
    time_ratio: float
    time_ratio_sd_log: float
    time_ratio_source: str
    time_ratio_status: str
    chill_threshold_c: float
    threshold_source: str
    threshold_status: str
    chill_class: str
    class_source: str
    class_status: str
    cites: str
    irritant_sap: bool
    note: str

    @property
    def source(self) -> str:
        """The sources of its columns, and the note."""
        of = {"time ratio": self.time_ratio_source, "threshold": self.threshold_source, "class": self.class_source}
        return "; ".join([f"{name}: {source}" for name, source in of.items()] + [self.note] * bool(self.note))

    @property
    def status(self) -> str:
        """The least sure status of its columns."""
        return max((self.time_ratio_status, self.threshold_status, self.class_status), key=STATUSES.index)


@dataclass(frozen=True, slots=True)
class Container:
    """A container: outer size in m, wall in m, contents' heat capacity in J/K, plants it holds."""

    container: str
    name: str
    length_m: float
    width_m: float
    height_m: float
    wall_m: float
    conductivity_w_per_mk: float
    heat_capacity_j_per_k: float
    capacity: int
    time_ratio: float
    time_ratio_sd_log: float
    offered: bool
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Roots:
    """A root treatment; succulents and cacti have a time ratio of their own, since they travel dry."""

    roots: str
    name: str
    time_ratio: float
    arid_time_ratio: float
    time_ratio_sd_log: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class SellerKind:
    """Who packs the box."""

    seller_kind: str
    name: str
    time_ratio: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class ChillClass:
    """Sensitivity of a class of genera to cold, relative to the sensitive class, with its 80 % factor."""

    chill_class: str
    sensitivity: float
    factor_80: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Leg:
    """A part of the journey: its share of the time after the wait, its place, its shelter (0 street, 1 shed)."""

    service: str
    leg: str
    order: int
    share: float
    place: str
    hold_c: float | None
    shelter: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Service:
    """A way of sending: transit days from closing the box to the door, delays included, and how it is late.

    The quantiles hold for boxes closed from Monday to Thursday; the layovers are added for the other days, and the wait
    of a box that comes on a day without work.
    """

    service: str
    name: str
    p10_days: float
    p50_days: float
    p90_days: float
    min_days: float
    delay_kind: str
    delay_share: float
    delay_median_days: float | None
    delay_sd_log: float | None
    flight_interval_days: float | None
    again_share: float | None
    delay_leg: str
    delivers_weekend: bool
    layover_fri_days: float
    layover_sat_days: float
    layover_sun_days: float
    papers_delay_days: float
    hubs: str
    freight_low: float
    freight_high: float
    freight_currency: str
    source: str
    status: str

    def layover_days(self, weekday: int) -> float:
        """Return the days added for a box closed on a weekday, 0 = Monday."""
        return (0.0, 0.0, 0.0, 0.0, self.layover_fri_days, self.layover_sat_days, self.layover_sun_days)[weekday]


@dataclass(frozen=True, slots=True)
class Weather:
    """Standard deviation of the daily mean about its monthly normal, and its lag-1 correlation."""

    regime: str
    sd_midwinter_c: float
    sd_midsummer_c: float
    lag1: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of thumb: the marginal share with this outcome after so many days, best guess and 80 % range."""

    code: str
    text: str
    days: float
    inside_c: float
    outcome: str
    low: float
    best: float
    high: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class LateLossRule:
    """A rule of thumb of late loss: its share after a chill dose, best guess and 80 % range."""

    code: str
    text: str
    chill_dose_days: float
    low: float
    best: float
    high: float
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class PriorScale:
    """A scale or thermal parameter of the prior: log-normal when learned, a constant when fixed."""

    name: str
    kind: str
    median: float
    sd_log: float | None
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class CostRule:
    """What a cost usually lies between, in one currency."""

    cost: str
    currency: str
    low: float
    high: float
    source: str
    status: str


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """A gateway with its monthly mean daily minimum and maximum, °C, shape (12,) each, January first."""

    iata: str
    city: str
    country: str
    lat: float
    lon: float
    elev_m: int
    time_zone: str
    tmin_c: NDArray[np.float64]
    tmax_c: NDArray[np.float64]
    regime: str
    source: str
    status: str
