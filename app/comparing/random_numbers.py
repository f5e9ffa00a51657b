"""Random numbers that routes, ship dates and remedies of a request have in common, as even as a few thousand can be.

Every number has a label, and the same label and seed give the same numbers (common random numbers). Each is stratified,
one in each of as many equal parts as there are draws. What decides most, how hardy the plants of a draw are and how its
consignment and its box fared, goes in a chain: further numbers are even also among draws that are about as good so far.
"""

from collections.abc import Callable
from functools import cached_property
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from model.prior import ParameterDraws
from model.quadrature import latin_hypercube
from model.reference import CONSTANTS

Array = NDArray[np.float64]
# Of float32; where it is used takes doubles too.
SingleArray = NDArray[Any]
Indices = NDArray[np.intp]

# Of the shipment variance, what belongs to the consignment; the rest is the box's.
CONSIGNMENT_SHARE = CONSTANTS.consignment_share
# Numbers are kept for the next route or date while they need no more than so many bytes.
MOST_KEPT_BYTES = 64 * 2**20
# What draws are compared by while further numbers are spread among them.
PLANTS, CONSIGNMENT, BOX, ON_ITS_WAY = "plants", "consignment", "box ", "on its way "
# Draws that are delayed, if a box of a route so often is, are spread by themselves.
OFTEN_DELAYED, FAR_APART = 0.1, 1e4


class CommonNumbers:
    """Random numbers of one request, (draws,) each.

    They stand beside draws of the parameters, and of eta of any plants from the seller: what all lines have in common.
    """

    def __init__(self, parameters: ParameterDraws, eta: Array, *, seed: int) -> None:
        self._parameters, self._plants_eta, self._seed = parameters, eta, seed
        self.n_draws = len(parameters.alpha)
        self._kept: dict[str, NDArray[Any]] = {}

    def rng(self, label: str) -> np.random.Generator:
        """Return the generator of a label, always in the same state."""
        return np.random.default_rng([self._seed, crc32(label.encode())])

    def noise(self, label: str) -> Array:
        """Return normals that are as they fall, not stratified."""
        return self.rng(label).standard_normal(self.n_draws)

    def journey(self, box: int, again: str = "") -> tuple[Array, Array, Array]:
        """Return the uniforms of a box's time without delays, of whether it is delayed, and of by how much."""
        delayed = self._uniforms(f"delayed {box}{again}", f"{BOX}{box}")
        body, delay = (self._uniforms(f"{name} {box}{again}", f"{ON_ITS_WAY}{box}") for name in ("body", "delay"))
        return body, delayed, delay

    def papers(self, again: str = "") -> Array:
        """Return the normals of the wait for papers, which all boxes have in common."""
        return self._normals(f"papers{again}", f"{BOX}0")

    def late_loss(self, box: int) -> Array:
        """Return the normals of a box's late loss."""
        return self._normals(f"late {box}", f"{BOX}{box}")

    def shipment(self, box: int) -> SingleArray:
        """Return the shipment effect of a box: its consignment's part, and its own."""
        own = np.sqrt(1.0 - CONSIGNMENT_SHARE) * self._normals(f"box {box}", CONSIGNMENT)
        effect: Array = self._consignment + self._parameters.scales["shipment"] * own
        return effect.astype(np.float32)

    def lost(self, box: int) -> NDArray[np.bool_]:
        """Return the draws in which a box is lost whole, whatever its route.

        They are taken by their chances from a common start along the order of the draws (a systematic sample), so that
        they are as many as these add up to.
        """

        def draw() -> NDArray[np.bool_]:
            order = self._order(f"{BOX}{box}")
            passed = np.floor(np.cumsum(self._parameters.lost[order]) + self.rng(f"lost {box}").random())
            lost = np.empty(self.n_draws, dtype=bool)
            lost[order] = np.diff(passed, prepend=0.0) > 0
            return lost

        return self._kept_or_drawn(f"lost {box}", draw)

    def lines(self, n_lines: int) -> SingleArray:
        """Return the normals of the effects of lines, (lines, draws)."""
        return latin_hypercube(ndtri(self._even("line effect")).astype(np.float32), n_lines, rng=self.rng("lines"))

    def plants(self, line: int, n_plants: int, levels: int) -> NDArray[np.uint16]:
        """Return uniforms of the plants of a line as whole numbers below `levels`, (plants, draws)."""
        label = f"plants {line}"
        even = (self._even(label) * levels).astype(np.uint16)
        return latin_hypercube(even, n_plants, rng=self.rng(f"order of {label}"))

    def _even(self, label: str) -> Array:
        """Return ascending uniforms, one in each equal part."""
        uniforms: Array = (np.arange(self.n_draws) + self.rng(label).random(self.n_draws)) / self.n_draws
        return uniforms

    def _uniforms(self, label: str, beside: str) -> Array:
        return self._kept_or_drawn(label, lambda: self._spread(label, self._order(beside)))

    def _normals(self, label: str, beside: str) -> Array:
        return self._kept_or_drawn(label, lambda: np.asarray(ndtri(self._spread(label, self._order(beside)))))

    def _kept_or_drawn(self, label: str, draw: Callable[[], NDArray[Any]]) -> NDArray[Any]:
        kept = self._kept.get(label)
        if kept is None:
            kept = draw()
            kept.flags.writeable = False
            if (len(self._kept) + 1) * kept.nbytes <= MOST_KEPT_BYTES:
                self._kept[label] = kept
        return kept

    def _spread(self, label: str, order: Indices) -> Array:
        """Return uniforms, one in each equal part, and even among neighbours of an order.

        Neighbours, as many as the root of the draws, have one in each of as many parts; ranks of all make it one in
        each: with the order an orthogonal array (Tang 1993, J. Amer. Statist. Assoc. 88:1392).
        """
        rng, n = self.rng(label), self.n_draws
        side = max(int(np.sqrt(n)), 1)
        groups = -(-n // side)
        shared = np.argsort(rng.random((groups, side)), axis=1) + rng.random((groups, side))
        uniforms = np.empty(n)
        uniforms[order[np.argsort(shared.ravel()[:n])]] = (np.arange(n) + rng.random(n)) / n
        return uniforms

    @cached_property
    def _consignment(self) -> Array:
        part: Array = np.sqrt(CONSIGNMENT_SHARE) * self._normals("consignment", PLANTS)
        return part * self._parameters.scales["shipment"]

    def _order(self, beside: str) -> Indices:
        """Return the draws from the best to the worst: for any plants, with their consignment, with a box of it."""
        return self._kept_or_drawn(f"order {beside}", lambda: np.argsort(self._eta(beside), kind="stable"))

    def _eta(self, beside: str) -> Array:
        eta = self._plants_eta
        if beside == CONSIGNMENT:
            return eta + self._consignment
        if beside.startswith(BOX):
            return eta + self.shipment(int(beside.removeprefix(BOX)))
        if beside.startswith(ON_ITS_WAY):
            box = int(beside.removeprefix(ON_ITS_WAY))
            unlucky = self._uniforms(f"delayed {box}", f"{BOX}{box}") >= 1.0 - OFTEN_DELAYED
            return eta + self.shipment(box) + FAR_APART * unlucky
        return eta
