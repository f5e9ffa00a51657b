"""The posterior of one ledger's inner parameters x and outer parameters theta, shipment and line effects integrated."""

import numpy as np
from numpy.typing import NDArray
from scipy import sparse, special

from model.exposure import Indices
from model.fit.box_integral import BOX_NODES, LINE_NODES, BoxIntegral, BoxTerms, Setting
from model.fit.grouping import Grouping
from model.fit.hierarchy import ALPHA, DELTA, FIT_KINDS, KAPPA, LOG_ODDS_LOST, OUTER, Hierarchy, InnerPrior
from model.fit.likelihood import coefficients
from model.fit.lines import CONSIGNMENT
from model.fit.observations import Observations
from model.fit.strays import RATES, StrayRates, Strays
from model.plant import relative_log_days
from model.reference import CONSTANTS

Array = NDArray[np.float64]

GENUS, CULTIVAR, SELLER, DRIFT, SHIPMENT, LINE, LOG_Q10, LOG_CHILL, LOG_H0 = (
    OUTER.index(name)
    for name in (
        "genus_multiplier", "cultivar", "seller", "drift", "shipment", "line", "q10_less_one", "chill_rate", "h0"
    )
)  # fmt: skip

# Matrices of so few lines are multiplied faster in full.
DENSE_LINES = 256
# Highest chance to be lost whole, so that its rest is never rounded to 0.
MOST_LOST = 1.0 - 1e-12


class Target:
    """Log likelihood and log posterior of one ledger.

    Attributes
    ----------
    observations : Observations
    hierarchy : Hierarchy
    counts : (5, lines)
        Coefficients of the likelihood's terms.
    grouping : Grouping
        Lines by box.
    strays : Strays or None
    integral : BoxIntegral
    nodes : (int, int)
        Quadrature nodes of a box and of a line.
    effects : (lines, p)
        One-hot columns of all effects, zero for alpha, kappa and delta.
    """

    def __init__(
        self,
        observations: Observations,
        hierarchy: Hierarchy,
        *,
        box_nodes: int = BOX_NODES,
        line_nodes: int = LINE_NODES,
        rates: StrayRates | None = RATES,
    ) -> None:
        """Take observations whose boxes ascend line by line, and the prior of their levels; 1 node: no such effect.

        `rates` are those of wrong records and boxes lost whole; None: the clock speaks of all.
        """
        self.observations, self.hierarchy, self.rates = observations, hierarchy, rates
        self.counts = coefficients(observations)
        self.grouping = Grouping.of(observations.box)
        self.strays = None if rates is None else Strays.of(observations, rates)
        self.integral = BoxIntegral(
            self.counts, self.grouping, box_nodes=box_nodes, line_nodes=line_nodes, strays=self.strays
        )
        self.nodes = box_nodes, line_nodes
        self.effects = self._effect_columns()
        ones = sparse.csr_array(np.ones((len(self.effects.indptr) - 1, 2)))
        self._columns = sparse.csr_array(sparse.hstack([ones, self.effects[:, 2:]], format="csr"))

    def of_boxes(self, boxes: Indices) -> "Target":
        """Return the posterior of some boxes alone, with the same prior."""
        box_nodes, line_nodes = self.nodes
        return Target(
            self.observations.take_boxes(boxes),
            self.hierarchy,
            box_nodes=box_nodes,
            line_nodes=line_nodes,
            rates=self.rates,
        )

    def by_clock_alone(self) -> "Target":
        """Return the posterior if no box were lost whole and no record wrong."""
        box_nodes, line_nodes = self.nodes
        return Target(self.observations, self.hierarchy, box_nodes=box_nodes, line_nodes=line_nodes, rates=None)

    def _effect_columns(self) -> sparse.csr_array:
        """Return the one-hot columns of all effects, (lines, p), zero for alpha, kappa and delta."""
        rows, columns = [], []
        for kind in FIT_KINDS:
            codes = self.observations.codes[kind]
            named = np.flatnonzero(codes >= 0)
            rows.append(named)
            columns.append(self.hierarchy.slices[kind].start + codes[named])
        row, column = np.concatenate(rows), np.concatenate(columns)
        shape = (len(self.observations), self.hierarchy.n_inner)
        return sparse.csr_array((np.ones(len(row)), (row, column)), shape=shape)

    def clock(self, theta: Array) -> tuple[Array, Array]:
        """Return log(D / 7) - log TR0 and the variance of log D, (lines,) each."""
        log_q10 = float(np.log1p(np.exp(theta[LOG_Q10])))
        mean, variance = self.observations.exposure.at(log_q10, float(theta[LOG_CHILL]))
        return relative_log_days(mean, self.observations.log_time_ratio), variance

    def setting(self, theta: Array, kappa: float, delta: float, variance: Array) -> Setting:
        """Return what the integrals depend on beside the linear predictor; `variance` of log D by line."""
        line = sum(self.line_variances(theta).values(), start=np.zeros(1))
        return Setting(
            box_sd=self._box_sd(theta, kappa, variance),
            line_sd=np.sqrt(line) if len(line) > 1 else float(np.sqrt(line[0])),
            delta=delta,
            h0=float(np.exp(theta[LOG_H0])),
            lost=float(self._lost(theta)),
        )

    def settings(self, theta: Array, x: Array) -> tuple[Array, Setting]:
        """Return the clock of each theta (n, 10), (n, lines), and the setting of n copies of the ledger, x (n, p)."""
        exposure = self.observations.exposure
        mean, variance = exposure.at_draws(np.log1p(np.exp(theta[:, LOG_Q10])), theta[:, LOG_CHILL])
        clock = relative_log_days(mean.T, self.observations.log_time_ratio)
        line = sum(self.line_variances(theta).values(), start=np.zeros((1, 1)))
        shape = len(theta), len(self.observations)
        kappa, delta, h0 = x[:, KAPPA, None], x[:, DELTA, None], np.exp(theta[:, LOG_H0, None])
        box_sd = self._box_sd(theta, kappa, variance.T).ravel()
        line_sd, delta, h0 = (np.broadcast_to(part, shape).ravel() for part in (np.sqrt(line), delta, h0))
        return clock, Setting(box_sd, line_sd, delta, h0, self._lost(theta).repeat(self.grouping.n_boxes))

    def _box_sd(self, theta: Array, kappa: float | Array, variance: Array) -> Array:
        """Return the sd of what varies from box to box in log hazard, (..., boxes)."""
        square = sum(self.box_variances(theta).values()) + kappa**2 * self.grouping.mean(variance)
        return np.asarray(np.sqrt(square))

    def _lost(self, theta: Array) -> Array:
        """Return the chance that a box is lost whole, (...); 0 where the clock speaks of all."""
        lost = np.minimum(special.expit(theta[..., LOG_ODDS_LOST]), MOST_LOST)
        return np.asarray(lost if self.strays is not None else np.zeros_like(lost))

    def box_variances(self, theta: Array) -> dict[int, Array]:
        """Return what varies from box to box by index in theta, (..., 10): with a seller not named, its effect too.

        Each is (..., boxes).

        Of a box whose consignment has an effect of its own, only the rest varies.
        """
        squares = np.exp(2.0 * theta)
        own = 1.0 - CONSTANTS.consignment_share * self.grouping.mean(
            (self.observations.codes[CONSIGNMENT] >= 0).astype(float)
        )
        variances = {SHIPMENT: own * squares[..., SHIPMENT, None]}
        if self.observations.unnamed_seller.any():
            unnamed = self.grouping.mean(self.observations.unnamed_seller.astype(float))
            variances |= {index: unnamed * squares[..., index, None] for index in (SELLER, DRIFT)}
        return variances

    def line_variances(self, theta: Array) -> dict[int, Array]:
        """Return what varies from line to line by index in theta (-1: no scale), (..., 10); an unknown genus's too.

        Each is (..., 1) without unknown genera, else (..., lines) or (lines,).
        """
        squares = np.exp(2.0 * theta)
        unknown = self.observations.unknown_genus.astype(float)
        if not unknown.any():
            return {LINE: squares[..., LINE, None]}
        genus, group = self.hierarchy.unknown_genus_variances
        return {
            LINE: np.ones_like(unknown) * squares[..., LINE, None],
            GENUS: unknown * squares[..., GENUS, None] * genus,
            CULTIVAR: unknown * squares[..., CULTIVAR, None],
            -1: unknown * group,
        }

    def log_likelihood(self, x: Array, theta: Array) -> float:
        """Return the log likelihood with shipment and line effects integrated, without multinomial coefficients."""
        clock, variance = self.clock(theta)
        eta = x[ALPHA] + x[KAPPA] * clock + self.effects @ x
        setting = self.setting(theta, float(x[KAPPA]), float(x[DELTA]), variance)
        return float(self.integral.value(eta, setting).sum())

    def columns(self, clock: Array) -> sparse.csr_array:
        """Return what x is multiplied with for the linear predictor, (lines, p); zero for delta."""
        data = self._columns.data.copy()
        data[self._columns.indices == KAPPA] = clock
        return sparse.csr_array((data, self._columns.indices, self._columns.indptr), shape=self._columns.shape)

    def data_precision(self, design: sparse.csr_array, eta2: Array, eta_delta: Array, delta2: float | Array) -> Array:
        """Return minus the Hessian of the log likelihood in x, (p, p), from second derivatives as in `BoxTerms`.

        `delta2` is of each box or of all together.
        """
        g = self.grouping
        n = len(g.box)
        if n <= DENSE_LINES:
            dense, blocks = design.toarray(), np.zeros((n, n))
            blocks[g.pair_first, g.pair_second] = -eta2
            precision: Array = dense.T @ (blocks @ dense)
        else:
            pairs = sparse.csr_array((-eta2, (g.pair_first, g.pair_second)), shape=(n, n))
            precision = (design.T @ (pairs @ design)).toarray()
        cross = -(design.T @ eta_delta)
        precision[DELTA, :] = cross
        precision[:, DELTA] = cross
        precision[DELTA, DELTA] = -np.sum(delta2)
        return precision


def gradient(x: Array, design: sparse.csr_array, terms: BoxTerms, prior: InnerPrior) -> Array:
    """Return the gradient of the log posterior of x, (p,)."""
    gradient: Array = design.T @ terms.eta + prior.slope(x)
    gradient[DELTA] += terms.delta.sum()
    return gradient
