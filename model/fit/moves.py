"""Draws moved to the posterior where weights alone leave too few of them: a sequential Monte Carlo sampler.

Particles are taken from the weighted draws of the proposal q and go to the posterior p by the powers q^(1 - b) p^b, b
from 0 to 1: each step weighs them, draws them again by their weights, and moves them (Del Moral, Doucet & Jasra 2006,
JRSS B 68:411; resample-move: Gilks & Berzuini 2001, JRSS B 63:127). A move proposes a draw of q, or draws some of the
normals anew that the narrow part of q makes (theta, x) of: theta's, x's, those of alpha, kappa and delta, or half of
them; it is taken as Metropolis & Hastings have it (Tierney 1994, Ann. Stat. 22:1701). No gradient is needed, x follows
its centre and spread given theta, and the wide part of q reaches the tails.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.conditionals import Mixture, natural
from model.fit.hierarchy import ALPHA, DELTA, FIRST_EFFECT, KAPPA
from model.fit.mixing import Mixing
from model.fit.pareto_smoothing import effective_draws, log_mean, smooth_log_weights
from model.fit.proposal import Proposal

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]
# Log likelihood of x (n, p) and theta (n, 10), (n,).
LogLikelihood = Callable[[Array, Array], Array]

N_PARTICLES = 1024
# Share of the particles that still counts after a step of the power, and after the last; the most steps.
KEPT_SHARE, LAST_SHARE, MOST_POWERS = 0.5, 0.35, 40
BISECTIONS = 40
# Share of the moves that propose a draw of q, and how many of the others draw half of the normals.
FRESH_SHARE, HALF_SHARE = 0.25, 0.5
# Moves at a power below 1, and at 1 until particles of one origin share no more than this, or so many.
MOVES_BETWEEN, MOST_MOVES = 3, 60
SHARED = 1.0
# States of each particle that are kept: those after its last moves.
KEPT_STATES = 4
# Log likelihood of what is not valid: finite, so that its products with powers are.
LEAST_LOG = -1e300


@dataclass(frozen=True, eq=False)
class Moved:
    """Particles at the posterior, equally weighted.

    Attributes
    ----------
    x, theta : (states, p), (states, 10)
        The last states of all particles.
    log_likelihood : (states,)
    effective : float
        Number of independent draws that the particles are worth, by how far copies have parted.
    pareto_k : float
        Tail shape of the last step's weights.
    n_moves : int
    log_mass : float
        Log of the posterior's integral where the proposal reaches, without its constants (Del Moral et al. 2006,
        eq. 14).
    """

    x: Array
    theta: Array
    log_likelihood: Array
    effective: float
    pareto_k: float
    n_moves: int
    log_mass: float


class _State(NamedTuple):
    """Particles: x, theta and their normals, precisions of Student effects with their log densities; log posterior, log
    density of the narrow part of q without those precisions, and of q, log likelihood."""

    x: Array
    theta: Array
    w: Array
    w_log_q: Array
    w_log_prior: Array
    outer: Array
    inner: Array
    log_p: Array
    log_narrow: Array
    log_q: Array
    log_likelihood: Array

    @property
    def mixing(self) -> Mixing:
        """The precisions of Student effects."""
        return Mixing(self.w, self.w_log_q, self.w_log_prior)

    def take(self, index: Indices | slice) -> "_State":
        return _State(*(part[index] for part in self))

    def where(self, taken: Mask, other: "_State") -> "_State":
        """Return the other where `taken`."""
        return _State(
            *(
                np.where(taken.reshape(-1, *(1,) * (new.ndim - 1)), new, old)
                for old, new in zip(self, other, strict=True)
            )
        )

    def looked_at(self) -> Array:
        """Return what must forget its origin: theta, alpha, kappa and log delta; (particles, 13)."""
        return np.column_stack([self.theta, self.x[:, [ALPHA, KAPPA]], np.log(self.x[:, DELTA])])


class _Particles(NamedTuple):
    """Some particles, and x given the theta of each where it is kept from move to move."""

    state: _State
    mixture: Mixture | None


class Mover:
    """Moves particles of a proposal to the posterior."""

    def __init__(self, proposal: Proposal, log_likelihood: LogLikelihood, *, rng: np.random.Generator) -> None:
        self._proposal, self._log_likelihood, self._rng = proposal, log_likelihood, rng
        p, n_outer = len(proposal.x), len(proposal.theta)
        place = np.arange(n_outer + p)
        outer = place < n_outer
        self._n_outer = n_outer
        # What is drawn anew: theta's normals, x's, those of alpha, kappa and delta with all that follows them.
        self._blocks = np.stack([outer, ~outer, place >= n_outer + p - FIRST_EFFECT])

    def run(self, x: Array, theta: Array, mixing: Mixing, log_weights: Array) -> Moved:
        """Return draws of the posterior.

        Parameters
        ----------
        x, theta, mixing, log_weights : (draws, p), (draws, 10), (draws, students), (draws,)
            Draws of the proposal and their log weights, not smoothed.
        """
        power = _next_power(log_weights, 0.0, N_PARTICLES)
        own, k = smooth_log_weights(power * log_weights)
        log_mass = log_mean(power * log_weights)
        index = _resampled(own, N_PARTICLES, rng=self._rng)
        runs = [index[rows] for rows in self._proposal.runs(N_PARTICLES)]
        parts = [self._particles(x[own], theta[own], mixing.take(own)) for own in runs]
        shared, n_moves = _siblings(index), 0
        for _ in range(MOST_POWERS):
            start = _joined([one.state for one in parts]).looked_at()
            for _ in range(MOST_MOVES // KEPT_STATES if power == 1.0 else 1):
                n = KEPT_STATES if power == 1.0 else MOVES_BETWEEN
                moved = [self._moved(one, power, n) for one in parts]
                parts = [one for one, _ in moved]
                states = [_joined(after) for after in zip(*(after for _, after in moved), strict=True)]
                n_moves += n
                kept = _kept(start, states[-1].looked_at())
                if kept * shared <= SHARED:
                    break
            shared *= kept
            if power == 1.0:
                break
            before, weights = power, states[-1].log_p - states[-1].log_q
            power = _next_power(weights, power, KEPT_SHARE * N_PARTICLES)
            own, k = smooth_log_weights((power - before) * weights)
            log_mass += log_mean((power - before) * weights)
            index = _resampled(own, N_PARTICLES, rng=self._rng)
            siblings = _siblings(index)
            state, shared = states[-1].take(index), siblings + shared * (1.0 + siblings)
            parts = self._again(parts, state, index)
        return Moved(
            np.concatenate([one.x for one in states]),
            np.concatenate([one.theta for one in states]),
            np.concatenate([one.log_likelihood for one in states]),
            N_PARTICLES / (1.0 + shared),
            k,
            n_moves,
            log_mass,
        )

    def _particles(self, x: Array, theta: Array, mixing: Mixing) -> _Particles:
        mixture = self._proposal.mixed(theta, mixing)
        return _Particles(self._state(x, theta, mixing, mixture), mixture)

    def _again(self, parts: list[_Particles], state: _State, index: Indices) -> list[_Particles]:
        """Return the particles that go on; their factors too where all fit the memory."""
        kept = parts[0].mixture
        mixture = None if kept is None else kept.take(index)
        return [_Particles(state.take(rows), mixture) for rows in self._proposal.runs(N_PARTICLES)]

    def _state(self, x: Array, theta: Array, mixing: Mixing, mixture: Mixture) -> _State:
        known = self._proposal.described(theta, mixing, x, mixture)
        log_likelihood = self._log_likelihood(x, theta)
        log_p = log_likelihood + known.log_prior
        log_p = np.where(np.isfinite(log_p), log_p, LEAST_LOG)
        return _State(
            x, theta, *mixing, known.outer, known.inner, log_p, known.log_narrow, known.log_mixed, log_likelihood
        )

    def _moved(self, particles: _Particles, power: float, n_moves: int) -> tuple[_Particles, list[_State]]:
        """Return the particles after some moves, and their state after each."""
        state, mixture = particles
        mixture = self._proposal.mixed(state.theta, state.mixing) if mixture is None else mixture
        states = []
        for _ in range(n_moves):
            state, mixture = self._moved_once(state, mixture, power)
            states.append(state)
        whole = len(self._proposal.runs(N_PARTICLES)) == 1
        return _Particles(state, mixture if whole else None), states

    def _moved_once(self, state: _State, mixture: Mixture, power: float) -> tuple[_State, Mixture]:
        """Return the particles, each moved once or left, for q^(1 - power) p^power."""
        rng, n = self._rng, len(state.x)
        fresh = rng.random(n) < FRESH_SHARE
        z = np.column_stack([state.outer, state.inner])
        anew = self._blocks[rng.integers(len(self._blocks), size=n)]
        anew &= (rng.random(z.shape) < 0.5) | (rng.random(n) >= HALF_SHARE)[:, None]  # noqa: PLR2004 - half of them
        anew[fresh, : self._n_outer] = True
        z = np.where(anew, rng.standard_normal(z.shape), z)
        theta, mixing = state.theta.copy(), state.mixing
        # Where theta and the mixing stay, so do the factors, which are what costs.
        turned: Mask = np.asarray(anew[:, : self._n_outer].any(axis=1))
        again = np.zeros_like(mixing.w, dtype=bool)
        there = mixture
        if turned.any():
            theta[turned] = self._proposal.thetas_at(z[turned, : self._n_outer])
            law = self._proposal.mixing_law(theta[turned])
            again[turned] = fresh[turned, None] | (rng.random(law.shape.shape) < rng.random((len(law.shape), 1)))
            w = np.where(again[turned], law.draw(rng=rng).w, mixing.w[turned])
            mixing = mixing.put(turned, law.described(w))
            there = mixture.put(turned, self._proposal.mixed(theta[turned], mixing.take(turned)))
        logs = there.narrow.at(z[:, None, self._n_outer :])[:, 0]
        if fresh.any():
            logs[fresh] = there.take(fresh).draw(1, rng=rng)[0][:, 0]
        ahead = self._state(natural(logs), theta, mixing, there)
        gain = power * (ahead.log_p - state.log_p) + (1.0 - power) * (ahead.log_q - state.log_q)
        # Of the mixing only what was drawn anew was proposed by its law.
        law_back = np.where(again, state.mixing.log_q - ahead.mixing.log_q, 0.0).sum(axis=1)
        back = np.where(fresh, state.log_q - ahead.log_q, state.log_narrow - ahead.log_narrow + law_back)
        taken = np.log1p(-rng.random(n)) <= gain + back
        return state.where(taken, ahead), mixture.put(taken, there.take(taken))


def _joined(states: Sequence[_State]) -> _State:
    """Return runs of particles as one."""
    return _State(*(np.concatenate(arrays) for arrays in zip(*states, strict=True)))


def _next_power(weights: Array, power: float, aim: float) -> float:
    """Return the power at which so many of the particles still count, or 1."""

    def counted(at: float) -> float:
        return effective_draws((at - power) * weights)

    if counted(1.0) >= LAST_SHARE / KEPT_SHARE * aim:
        return 1.0
    low, high = power, 1.0
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if counted(middle) >= aim else (low, middle)
    return low


def _resampled(log_weights: Array, n: int, *, rng: np.random.Generator) -> Indices:
    """Return which n of the draws go on, by systematic resampling."""
    cumulative = np.cumsum(special.softmax(log_weights))
    points = (np.arange(n) + rng.random()) / n * cumulative[-1]
    index: Indices = np.minimum(np.searchsorted(cumulative, points), len(cumulative) - 1)
    return index


def _siblings(index: Indices) -> float:
    """Return how many copies of itself a particle has beside it, on average."""
    copies = np.bincount(index).astype(float)
    return float((copies * (copies - 1.0)).sum()) / len(index)


def _kept(start: Array, now: Array) -> float:
    """Return the largest correlation of what is looked at with its start: how much copies still have in common."""
    start, now = start - start.mean(axis=0), now - now.mean(axis=0)
    scale = np.sqrt((start**2).mean(axis=0) * (now**2).mean(axis=0))
    correlation = (start * now).mean(axis=0) / np.maximum(scale, np.finfo(float).tiny)
    return float(np.clip(correlation.max(), 0.0, 1.0))
