"""Weighted draws of the posterior about its mode.

The proposal is averaged over itself, fitted to the weights of some rounds of pilot draws, and drawn from; weights
against the integrated posterior are Pareto-smoothed (Vehtari et al. 2024). Where they leave too few draws, these are
moved to the posterior (`model.fit.moves`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.box_integral import (
    WEIGHT_BOX_NODES,
    WEIGHT_LINE_NODES,
    WEIGHT_MODE_TOLERANCE,
    BoxIntegral,
)
from model.fit.conditionals import natural
from model.fit.hierarchy import ALPHA, DELTA, KAPPA
from model.fit.mixing import Mixing
from model.fit.moves import Mover
from model.fit.pareto_smoothing import MOST_PARETO_K, effective_draws, log_mean, smooth_log_weights
from model.fit.positive_definite import without_negative
from model.fit.proposal import NARROW, Drawn, Proposal
from model.fit.target import Target

Array = NDArray[np.float64]

# Small ledgers are given more draws: about so many lines are weighed in all.
WEIGHED_LINES = 3_000_000
DRAWS_RANGE = (1024, 4096)
# Above so many lines the posterior is nearly Gaussian, and each draw is dear.
MANY_LINES, DRAWS_OF_MANY, PILOT_THETAS_OF_MANY, ROUNDS_OF_MANY = 30_000, 512, 96, 3
LINES_AT_ONCE = 4096
AVERAGING_STEPS, AVERAGED_LINES, AVERAGING_PAIRS = 4, 3_000_000, (2, 16)
# Draws given a theta.
DRAWS_A_THETA = 2
# Rounds of draws that only fit the proposal. With more lines they end where this share of them counts; with fewer that
# says little, since no draw may have been in the posterior's tails.
PILOTS, PILOT_THETAS, PILOT_DRAWS = 2, 512, 2
FEW_LINES, ENOUGH_SHARE = 1000, 0.3
# With fewer, or a heavier tail of the weights, draws are moved to the posterior; so few are no answer.
LEAST_EFFECTIVE = 400
REFUSED_EFFECTIVE = 5
# One in so many is the least share of the posterior for which a mode is drawn about.
LEAST_HUMP_IN = 1000
# Rounds of draws until there are enough effective ones.
MOST_ROUNDS = 4


@dataclass(frozen=True, eq=False)
class WeightedDraws:
    """Draws x (draws, p) and theta (draws, 10) with normalised, smoothed log weights (draws,).

    Attributes
    ----------
    effective : float
        Effective number of draws.
    pareto_k : float
    n_replaced : int
        Draws that were drawn again since kappa came out at or below 0.
    raw : (draws,)
        Log weights as they were before they were smoothed, for the draws that were weighed.
    log_likelihood : (draws,)
        With shipment and line effects integrated, without multinomial coefficients.
    log_mass : float
        Log of the posterior's integral where the draws reach, without its constants.
    n_moves : int
        Moves of each particle, where weights alone left too few draws.
    """

    x: Array
    theta: Array
    log_weights: Array
    effective: float
    pareto_k: float
    n_replaced: int
    raw: Array
    log_likelihood: Array
    log_mass: float
    n_moves: int = 0

    @property
    def enough(self) -> bool:
        """Whether so many draws count that answers can be trusted."""
        return self.effective >= LEAST_EFFECTIVE and self.pareto_k < MOST_PARETO_K


def combined(humps: Sequence[WeightedDraws]) -> WeightedDraws:
    """Return the draws about several modes as draws of the whole posterior, by the mass of each.

    The draws about one mode hardly reach another. What has less than a draw's worth of mass is left out.
    """
    share = special.softmax([one.log_mass for one in humps])
    kept = [(float(own), one) for own, one in zip(share, humps, strict=True) if own * LEAST_HUMP_IN >= 1.0]
    if len(kept) == 1:
        return kept[0][1]
    shares, humps = np.array([own for own, _ in kept]), [one for _, one in kept]
    shares /= shares.sum()
    return WeightedDraws(
        x=np.concatenate([one.x for one in humps]),
        theta=np.concatenate([one.theta for one in humps]),
        log_weights=np.concatenate([np.log(own) + one.log_weights for own, one in zip(shares, humps, strict=True)]),
        effective=1.0 / sum(own**2 / one.effective for own, one in zip(shares, humps, strict=True)),
        pareto_k=max(one.pareto_k for one in humps),
        n_replaced=sum(one.n_replaced for one in humps),
        raw=np.concatenate([one.raw for one in humps]),
        log_likelihood=np.concatenate([one.log_likelihood for one in humps]),
        log_mass=float(special.logsumexp([one.log_mass for one in humps])),
        n_moves=max(one.n_moves for one in humps),
    )


class Weighing:
    """Draws from a proposal, weighed against the posterior of a ledger."""

    def __init__(self, target: Target) -> None:
        """Take the posterior."""
        self._target = target
        box_nodes, line_nodes = target.nodes
        self._nodes = min(box_nodes, WEIGHT_BOX_NODES), min(line_nodes, WEIGHT_LINE_NODES)
        self._copies: tuple[int, BoxIntegral] | None = None

    def run(self, proposal: Proposal, n_weighed: int | None, *, rng: np.random.Generator) -> WeightedDraws:
        """Return rounds of as many draws as suit the ledger, moved where too few of them count.

        With `n_weighed` so many a round, and none are moved.
        """
        move = n_weighed is None
        n_lines = len(self._target.observations)
        many = n_lines > MANY_LINES
        if n_weighed is None:
            n_weighed = DRAWS_OF_MANY if many else int(np.clip(WEIGHED_LINES // max(n_lines, 1), *DRAWS_RANGE))
        n = n_weighed // DRAWS_A_THETA
        proposal = self._averaged(proposal, rng=rng)
        proposal = self._piloted(proposal, PILOT_THETAS_OF_MANY if many else PILOT_THETAS, rng=rng)
        weighted, mixing = self._rounds(proposal, n, ROUNDS_OF_MANY if many else MOST_ROUNDS, move, rng=rng)
        if weighted.enough or not move:
            return weighted
        moved = Mover(proposal, self._log_likelihood, rng=rng).run(weighted.x, weighted.theta, mixing, weighted.raw)
        even = np.full(len(moved.x), -np.log(len(moved.x)))
        return replace(
            weighted,
            x=moved.x,
            theta=moved.theta,
            log_weights=even,
            log_likelihood=moved.log_likelihood,
            effective=moved.effective,
            pareto_k=moved.pareto_k,
            n_moves=moved.n_moves,
            log_mass=moved.log_mass,
        )

    def _piloted(self, proposal: Proposal, n_thetas: int, *, rng: np.random.Generator) -> Proposal:
        """Return the proposal fitted to rounds of pilot draws, or as it is where enough of its own count."""
        for _ in range(PILOTS):
            pilot = proposal.draw(n_thetas, PILOT_DRAWS, shares=NARROW, rng=rng)
            log_weights, _ = self._log_weights(pilot)
            enough = effective_draws(log_weights) >= ENOUGH_SHARE * len(log_weights)
            if enough and len(self._target.observations) > FEW_LINES:
                break
            proposal = proposal.fitted(pilot, log_weights, PILOT_DRAWS)
        return proposal

    def _rounds(
        self, proposal: Proposal, n: int, most: int, move: bool, *, rng: np.random.Generator
    ) -> tuple[WeightedDraws, Mixing]:
        """Return rounds of draws, `n` thetas each, until enough of them count, and their mixing.

        Where they can be moved, also once it is plain that too few will.
        """
        rounds: list[tuple[Array, ...]] = []
        mixings: list[Mixing] = []
        n_replaced = 0
        while True:
            drawn = proposal.draw(n, DRAWS_A_THETA, rng=rng)
            n_replaced += drawn.n_replaced
            rounds.append((drawn.x, drawn.theta, *self._log_weights(drawn)))
            mixings.append(drawn.mixing)
            x, theta, log_weights, log_likelihood = (np.concatenate(part) for part in zip(*rounds, strict=True))
            smooth, pareto_k = smooth_log_weights(log_weights)
            counted, mass = effective_draws(smooth), log_mean(log_weights)
            weighted = WeightedDraws(x, theta, smooth, counted, pareto_k, n_replaced, log_weights, log_likelihood, mass)
            hopeless = move and (pareto_k >= MOST_PARETO_K or weighted.effective * most < LEAST_EFFECTIVE * len(rounds))
            if weighted.enough or hopeless or len(rounds) == most:
                return weighted, Mixing.joined(mixings)

    def _averaged(self, proposal: Proposal, *, rng: np.random.Generator) -> Proposal:
        """Return the proposal with the mean and precision that fit best on average over itself, at its centre of theta.

        Its mean moves until the gradient averages to zero over it, and the curvature is averaged too (the Gaussian
        nearest in Kullback-Leibler divergence: Opper & Archambeau 2009, Neural Computation 21:786): the mode is not the
        mean, and in many dimensions the difference would leave few draws with weight. Antithetic draws cancel the
        linear part. Student effects are Gaussian meanwhile, as wide as the data let them be: where all plants of a
        genus lived, steps along a Student's flat tail would lead ever further out.
        """
        theta, p = proposal.theta, len(proposal.x)
        n_lines = len(self._target.observations)
        design = self._target.columns(self._target.clock(theta)[0])
        n_pairs = int(np.clip(AVERAGED_LINES // (2 * AVERAGING_STEPS * n_lines), *AVERAGING_PAIRS))
        runs = self._runs(2 * n_pairs)
        for _ in range(AVERAGING_STEPS):
            given = proposal.given(theta[None])
            prior = given.prior.of_thetas(0)
            steps = given.steps(rng.standard_normal((1, n_pairs, p)))[0]
            x = natural(given.centre[0] + np.concatenate([steps, -steps]))
            gradient, eta_delta, delta2 = np.zeros(p), np.zeros(n_lines), 0.0
            eta2 = np.zeros(len(self._target.grouping.pair_first))
            for some in runs:
                n, delta = len(x[some]), x[some, DELTA, None]
                setting = self._target.settings(np.tile(theta, (n, 1)), x[some])[1]
                terms = self._tiled(n).terms((design @ x[some].T).T.ravel(), setting)
                slope = np.array([prior.slope(one) for one in x[some]]) + (design.T @ terms.eta.reshape(n, -1).T).T
                slope[:, DELTA] = (slope[:, DELTA] + terms.delta.reshape(n, -1).sum(axis=1)) * delta[:, 0]
                gradient += slope.sum(axis=0) / len(x)
                # Second derivatives with delta on its log scale.
                eta2 += terms.eta2.reshape(n, -1).sum(axis=0) / len(x)
                eta_delta += (delta * terms.eta_delta.reshape(n, -1)).sum(axis=0) / len(x)
                delta2 += float((delta**2 * terms.delta2.reshape(n, -1)).sum()) / len(x)
            data = self._target.data_precision(design, eta2, eta_delta, delta2)
            move = given.covaried(gradient[None, :, None])[0, :, 0]
            # No further than a typical draw.
            move *= min(1.0, np.sqrt(p / max(float(gradient @ move), p)))
            proposal = replace(proposal, x=given.centre[0] + move, data_precision=without_negative(data))
        return proposal

    def _log_weights(self, drawn: Drawn) -> tuple[Array, Array]:
        """Return log posterior less log proposal, and the log likelihood, (draws,) each."""
        log_likelihood = self._log_likelihood(drawn.x, drawn.theta)
        return log_likelihood + drawn.log_prior - drawn.log_q, log_likelihood

    def _log_likelihood(self, x: Array, theta: Array) -> Array:
        """Return the log likelihood, (draws,).

        Several draws are taken at once, as if each had a ledger of its own, so that small ledgers cost no more than
        their sums.
        """
        n_boxes = self._target.grouping.n_boxes
        log_likelihood = np.empty(len(x))
        for some in self._runs(len(x)):
            clock, setting = self._target.settings(theta[some], x[some])
            predictor = x[some, ALPHA, None] + x[some, KAPPA, None] * clock + (self._target.effects @ x[some].T).T
            value = self._tiled(len(clock)).value(predictor.ravel(), setting)
            log_likelihood[some] = value.reshape(len(clock), n_boxes).sum(axis=1)
        return log_likelihood

    def _runs(self, n_draws: int) -> list[slice]:
        """Return runs of draws whose copies of the ledger are worked on at once."""
        at_once = max(LINES_AT_ONCE // len(self._target.observations), 1)
        return [slice(first, min(first + at_once, n_draws)) for first in range(0, n_draws, at_once)]

    def _tiled(self, n: int) -> BoxIntegral:
        """Return the integral over n copies of the ledger."""
        if self._copies is None or self._copies[0] != n:
            box_nodes, line_nodes = self._nodes
            grouping = self._target.grouping.tiled(n)
            integral = BoxIntegral(
                np.tile(self._target.counts, n),
                grouping,
                box_nodes=box_nodes,
                line_nodes=line_nodes,
                mode_tolerance=WEIGHT_MODE_TOLERANCE,
                single=True,
                strays=None if self._target.strays is None else self._target.strays.tiled(n),
            )
            self._copies = n, integral
        return self._copies[1]
