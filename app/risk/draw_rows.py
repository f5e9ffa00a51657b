"""Rows of the draws that risk queries average over, in single precision, kept from call to call.

A line is the sum of a few rows, of its genus and of how it is sent, and most calls ask for what was asked before.
"""

from collections.abc import Callable, Hashable
from typing import TypeVar
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from app.serving import Engine
from model.exposure import ColdDraws, log_factor_per_c
from model.plant import Plant
from model.predict import KeptChances, MarginalChances, clock_draws, genus_effects, node_order, sending_effects
from model.reference import Genus

SingleArray = NDArray[np.float32]
Row = TypeVar("Row")

# Of 2 kB, and 6 kB of a genus's clock.
MOST_ROWS = 2048


class DrawRows:
    """The draws of one engine, in the order in which chances are averaged fastest.

    Attributes
    ----------
    order : (draws,)
        Where each of them stands among the engine's `chance_draws`.
    draws : PosteriorDraws
        They themselves.
    log_q1, ascending_log_q1, kappa, kappa_log_q1 : (draws,)
        The log of the factor by which 1 °C speeds the clock, also in ascending order, and the exponent of time.
    chances : MarginalChances
    kept : KeptChances
    """

    def __init__(self, engine: Engine) -> None:
        self.order = node_order(engine.chance_draws)
        self.draws = draws = engine.chance_draws.take(self.order)
        self.log_q1 = log_factor_per_c(clock_draws([None], draws))
        self.ascending_log_q1 = np.sort(self.log_q1)
        self.kappa: SingleArray = draws.parameters.kappa.astype(np.float32)
        self.kappa_log_q1 = self.kappa * self.log_q1
        self.chances, self.kept = MarginalChances(draws), KeptChances(draws.late_loss)
        self._known: dict[Hashable, object] = {}

    def genus_effects(self, plant: Plant) -> SingleArray:
        """Return the effects of group, genus and cultivar, (draws,)."""
        key = plant.genus, plant.cultivar
        return self._row(key, lambda: genus_effects(plant, self.draws).astype(np.float32))

    def sending_effects(self, plant: Plant) -> SingleArray:
        """Return alpha and the effects of packing, service and seller, (draws,)."""
        key = (plant.container, plant.roots, plant.service, plant.seller_kind, plant.seller, plant.quarter)
        return self._row(key, lambda: sending_effects(plant, self.draws).astype(np.float32))

    def cold(self, genus: Genus | None) -> ColdDraws:
        """Return what the clock of a genus does below its threshold."""
        return self._row(genus, lambda: ColdDraws.of(clock_draws([genus], self.draws)))

    def _row(self, key: Hashable, made: Callable[[], Row]) -> Row:
        row: Row | None = self._known.get(key)  # type: ignore[assignment]
        if row is None:
            row = made()
            if len(self._known) < MOST_ROWS:
                self._known[key] = row
        return row


_ROWS: WeakKeyDictionary[Engine, DrawRows] = WeakKeyDictionary()


def rows_of(engine: Engine) -> DrawRows:
    """Return the rows of an engine, made the first time they are asked for."""
    rows = _ROWS.get(engine)
    if rows is None:
        rows = _ROWS[engine] = DrawRows(engine)
    return rows
