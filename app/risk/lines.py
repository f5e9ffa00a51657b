"""The lines of a request as arrays: which rows of draws each has, shared between queries that name the same."""

from collections.abc import Hashable, Sequence
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from app.batch import drift_quarter, resolve_genus, seller_level
from app.risk.draw_rows import DrawRows, SingleArray
from app.schemas import InsideTemperature, LaneTemperature, RiskQuery
from model.exposure import is_plain
from model.plant import Plant, log_time_ratio
from model.reference import CONSTANTS, Genus, Reference
from model.transit import SHORTEST_DAYS

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_NAMED = itemgetter("genus", "cultivar", "container", "roots", "service", "seller_kind", "seller")


class _Stack:
    """Rows put together, each once."""

    def __init__(self) -> None:
        self._index: dict[Hashable, int] = {}
        self.rows: list[SingleArray] = []

    def index(self, key: Hashable, row: SingleArray) -> int:
        """Return where a key's row stands."""
        known = self._index.setdefault(key, len(self.rows))
        if known == len(self.rows):
            self.rows.append(row)
        return known


class Lines:
    """The plants of a request.

    Attributes
    ----------
    unique : list of Plant
        Each plant once.
    names : list of str
        How the genus of each of them was written first.
    index : (queries,)
        Which of them a query is about.
    log_time_ratio, days, inside_c : (queries,)
        `inside_c` is not a number where the temperature is not constant.
    changing : list of int
        Where that is so.
    constant_c, log_days : (queries,)
        Where it is so, one day at the reference temperature: all that happens lies beyond that.
    plain : (queries,)
        Whether neither cold nor heat adds to the warm rate in any draw.
    """

    def __init__(self, queries: Sequence[RiskQuery], draws: DrawRows, reference: Reference) -> None:
        self.unique: list[Plant] = []
        self.names: list[str] = []
        self._draws = draws
        known: dict[tuple[object, ...], int] = {}
        index, days, inside = [], [], []
        for query in queries:
            fields = query.__dict__
            temperature = fields["temperature"]
            key: tuple[object, ...] = _NAMED(fields)
            if type(temperature) is InsideTemperature:
                inside.append(temperature.inside_c)
                service = None
            else:
                inside.append(np.nan)
                service = temperature.service if type(temperature) is LaneTemperature else None
            if service is not None or fields["seller"] is not None:
                key = (*key, service, drift_quarter(fields["seller"], fields["ship_date"]))
            found = known.get(key)
            if found is None:
                found = known[key] = len(self.unique)
                self.unique.append(_plant(query, service, reference))
                self.names.append(fields["genus"])
            index.append(found)
            days.append(fields["transit_days"])
        self.index, self.days, self.inside_c = np.array(index), np.array(days), np.array(inside)
        self._stack(reference)
        is_changing = np.isnan(self.inside_c)
        self.changing: list[int] = np.flatnonzero(is_changing).tolist()
        self.constant_c = np.where(is_changing, CONSTANTS.reference_c, self.inside_c)
        self.log_days = np.where(is_changing, 0.0, np.log(np.maximum(self.days, SHORTEST_DAYS)))
        self.plain = ~is_changing & is_plain(self.constant_c, self._warmest[self._cold])

    def _stack(self, reference: Reference) -> None:
        genera, sendings = _Stack(), _Stack()
        colds: dict[Genus | None, int] = {}
        places = []
        for plant in self.unique:
            sent = (plant.container, plant.roots, plant.service, plant.seller_kind, plant.seller, plant.quarter)
            genus = genera.index((plant.genus, plant.cultivar), self._draws.genus_effects(plant))
            sending = sendings.index(sent, self._draws.sending_effects(plant))
            places.append((genus, sending, colds.setdefault(plant.genus, len(colds))))
        self._genus, self._sending, self._cold = np.array(places)[self.index].T
        self._genus_rows, self._sending_rows = np.stack(genera.rows), np.stack(sendings.rows)
        if len(self._sending_rows) == 1:
            self._genus_rows += self._sending_rows
        cold = [self._draws.cold(genus) for genus in colds]
        self._warmest = np.array([row.warmest_threshold_c for row in cold])
        self._cold_rows = [np.stack(rows) for rows in zip(*(row[:3] for row in cold), strict=True)]
        self.log_time_ratio = np.array([log_time_ratio(plant, reference) for plant in self.unique])[self.index]

    @property
    def plants(self) -> list[Plant]:
        """The plant of each query."""
        return [self.unique[i] for i in self.index.tolist()]

    def effects(self, rows: slice) -> SingleArray:
        """Return the linear predictor but for time, temperature and time ratio, (rows, draws)."""
        effects: SingleArray = self._genus_rows.take(self._genus[rows], axis=0)
        if len(self._sending_rows) > 1:
            effects += self._sending_rows.take(self._sending[rows], axis=0)
        return effects

    def cold(self, rows: Indices) -> tuple[SingleArray, SingleArray, SingleArray]:
        """Return threshold of each line's genus and chill rate below it, absolute and relative, (rows, draws)."""
        at = self._cold[rows]
        threshold, chill, relative = (row.take(at, axis=0) for row in self._cold_rows)
        return threshold, chill, relative


def _plant(query: RiskQuery, service: str | None, reference: Reference) -> Plant:
    return Plant(
        resolve_genus(query.genus, reference)[0],
        query.cultivar,
        query.container,
        query.roots,
        query.service or service,
        query.seller_kind,
        seller_level(query.seller),
        drift_quarter(query.seller, query.ship_date),
    )
