"""The likelihood of a line: a proper distribution, the formula of the model, and its derivatives."""

from itertools import product
from typing import Any

import numpy as np
import pytest
from scipy import stats

from model.exposure.table import Array
from model.fit.likelihood import CountError, Terms, coefficients, log_choose, slopes, terms, value
from tests.model.ledgers import NAN, ledger

# One line of every kind: three states, healthy / not, alive / dead; also with nothing or everything in one state.
KINDS_OF_LINES = {
    "three states": (5.0, 3.0, 4.0, 12.0),
    "all healthy": (12.0, 0.0, 0.0, 12.0),
    "all damaged": (0.0, 12.0, 0.0, 12.0),
    "all dead": (0.0, 0.0, 12.0, 12.0),
    "healthy or not": (7.0, NAN, NAN, 12.0),
    "none healthy": (0.0, NAN, NAN, 12.0),
    "alive or dead": (NAN, NAN, 5.0, 12.0),
    "none dead": (NAN, NAN, 0.0, 12.0),
    "one of each": (1.0, 1.0, 1.0, 3.0),
    "one not healthy": (5.0, NAN, NAN, 6.0),
    "one dead": (NAN, NAN, 1.0, 6.0),
    "weighted counts": (2.5, 1.25, 0.75, 4.5),
    "less than a plant of each": (0.5, 0.25, 0.25, 1.0),
    "less than a plant not healthy": (0.5, NAN, NAN, 1.0),
}
ETAS, DELTAS, H0S = np.linspace(-4.0, 2.5, 14), (0.3, 2.0), (0.0, 0.02, 0.3)
STEP = 1e-5


def c_of(*counts: float) -> Array:
    return coefficients(ledger(np.array([counts]), np.zeros(1)))


def at(counts: tuple[float, ...], eta: float | Array, delta: float = 1.2, h0: float = 0.02) -> Array:
    eta = np.atleast_1d(np.asarray(eta, dtype=float))
    return value(eta, np.tile(c_of(*counts), len(eta)), delta, h0)


def chances(eta: float, delta: float, h0: float) -> tuple[float, float, float]:
    """The two hazards as the model states them: a spoilt plant has died by unboxing with d0 = 0.7."""
    loss, death = h0 + np.exp(eta), h0 * np.exp(-0.7) + np.exp(eta - delta)
    return float(np.exp(-loss)), float(np.exp(-death) - np.exp(-loss)), float(-np.expm1(-death))


@pytest.mark.parametrize(("delta", "h0"), list(product(DELTAS, H0S)))
def test_a_line_has_the_multinomial_probability_of_its_counts(delta: float, h0: float) -> None:
    for counts, eta in product(((5.0, 3.0, 4.0, 12.0), (12.0, 0.0, 0.0, 12.0), (0.0, 0.0, 3.0, 3.0)), (-2.0, 0.0, 1.0)):
        observations = ledger(np.array([counts]), np.zeros(1))
        found = at(counts, eta, delta, h0)[0] + log_choose(observations)[0]
        expected = stats.multinomial(int(counts[3]), chances(eta, delta, h0)).logpmf(counts[:3])
        assert found == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("position", "healthy"), [(0, True), (2, False)])
def test_a_two_state_line_has_the_binomial_probability_of_its_count(position: int, healthy: bool) -> None:
    for known, eta in product(range(7), (-2.0, 0.5)):
        counts = (float(known), NAN, NAN, 6.0) if healthy else (NAN, NAN, float(known), 6.0)
        found = at(counts, eta)[0] + log_choose(ledger(np.array([counts]), np.zeros(1)))[0]
        assert found == pytest.approx(stats.binom(6, chances(eta, 1.2, 0.02)[position]).logpmf(known), abs=1e-10)


@pytest.mark.parametrize(("delta", "h0"), list(product(DELTAS, H0S)))
def test_probabilities_of_all_outcomes_add_to_one(delta: float, h0: float) -> None:
    outcomes = [(float(h), float(m), 5.0 - h - m, 5.0) for h in range(6) for m in range(6 - h)]
    observations = ledger(np.array(outcomes), np.zeros(len(outcomes)))
    for eta in (-3.0, 0.0, 1.5):
        log_p = value(np.full(len(outcomes), eta), coefficients(observations), delta, h0) + log_choose(observations)
        assert np.exp(log_p).sum() == pytest.approx(1.0, abs=1e-12)


def differences(counts: tuple[float, ...], delta: float, h0: float) -> dict[str, Array]:
    """Central differences of the value and of its own derivatives."""

    def all_terms(eta_step: float = 0.0, delta_step: float = 0.0, h0_step: float = 0.0) -> Terms:
        c = np.tile(c_of(*counts), len(ETAS))
        return terms(ETAS + eta_step, c, delta + delta_step, h0 + h0_step)

    up, down = all_terms(eta_step=STEP), all_terms(eta_step=-STEP)
    above, below = all_terms(delta_step=STEP), all_terms(delta_step=-STEP)
    found = {
        "eta": (up.value - down.value) / (2 * STEP),
        "eta2": (up.eta - down.eta) / (2 * STEP),
        "delta": (above.value - below.value) / (2 * STEP),
        "delta2": (above.delta - below.delta) / (2 * STEP),
        "eta_delta": (up.delta - down.delta) / (2 * STEP),
    }
    if h0:
        more, less = all_terms(h0_step=h0 * 1e-4), all_terms(h0_step=-h0 * 1e-4)
        found["h0"] = (more.value - less.value) / (2e-4 * h0)
    return found


@pytest.mark.parametrize("h0", H0S)
@pytest.mark.parametrize("delta", DELTAS)
@pytest.mark.parametrize("counts", list(KINDS_OF_LINES.values()), ids=list(KINDS_OF_LINES))
def test_derivatives_are_those_of_the_value(counts: tuple[float, ...], delta: float, h0: float) -> None:
    exact = terms(ETAS, np.tile(c_of(*counts), len(ETAS)), delta, h0)
    np.testing.assert_allclose(exact.value, at(counts, ETAS, delta, h0), rtol=1e-14)
    for name, expected in differences(counts, delta, h0).items():
        np.testing.assert_allclose(getattr(exact, name), expected, rtol=2e-6, atol=2e-6, err_msg=name)
    first, second = slopes(ETAS, np.tile(c_of(*counts), len(ETAS)), delta, h0)
    np.testing.assert_allclose(first, exact.eta, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(second, exact.eta2, rtol=1e-12, atol=1e-12)


def test_without_spoilt_plants_the_likelihood_is_concave_in_eta_and_delta() -> None:
    """Prentice & Gloeckler 1978; McCullagh 1980."""
    for counts, delta in product(KINDS_OF_LINES.values(), np.linspace(0.05, 5.0, 12)):
        t = terms(ETAS, np.tile(c_of(*counts), len(ETAS)), float(delta), 0.0)
        hessian = np.moveaxis(np.array([[t.eta2, t.eta_delta], [t.eta_delta, t.delta2]]), -1, 0)
        assert np.linalg.eigvalsh(hessian).max() <= 1e-9 * max(1.0, np.abs(hessian).max())


@pytest.mark.parametrize("counts", list(KINDS_OF_LINES.values()), ids=list(KINDS_OF_LINES))
def test_far_out_the_likelihood_is_finite_or_impossible_and_never_nan(counts: tuple[float, ...]) -> None:
    eta = np.array([-600.0, -40.0, -20.0, 40.0, 400.0])
    for h0 in (0.0, 0.02):
        found = at(counts, eta, 1.2, h0)
        assert not np.isnan(found).any()
        assert found.max() <= 0.0
        assert np.isfinite(found[1:4]).all()


def test_the_hazard_rises_as_far_as_squares_of_it_are_numbers() -> None:
    """All alive: the log chance is -12 e^eta, up to e^300, or e^40 in single precision, whose squares are finite."""
    alive = (12.0, 0.0, 0.0, 12.0)
    etas = np.array([80.0, 299.0, 301.0, 400.0])
    expected = -12.0 * np.exp([80.0, 299.0, 300.0, 300.0])
    np.testing.assert_allclose(at(alive, etas, h0=0.0), expected, rtol=1e-12)
    single: Any = np.array([30.0, 39.0, 41.0, 80.0], dtype=np.float32)
    found = value(single, np.tile(c_of(*alive), 4).astype(np.float32), 1.2, 0.0)
    np.testing.assert_allclose(found, -12.0 * np.exp([30.0, 39.0, 40.0, 40.0]), rtol=1e-5)


def test_where_nothing_dies_those_alive_have_no_slope() -> None:
    """e^-800 is 0 to a float: all live for certain, and only h0, of which the log chance is -12 h0, changes that."""
    c = coefficients(ledger(np.array([(7.0, NAN, NAN, 12.0), (12.0, 0.0, 0.0, 12.0)]), np.zeros(2)))
    eta = np.array([0.0, -800.0])
    found = terms(eta, c, 1.2, 0.0)
    assert [float(term[1]) for term in found] == [0.0] * 6 + [-12.0]
    assert [float(slope[1]) for slope in slopes(eta, c, 1.2, 0.0)] == [0.0, 0.0]


def test_small_chances_keep_their_digits() -> None:
    """log(1 - exp(-z)) of a tiny z against its series, from expm1 in extended form: log(-expm1(-z))."""
    for eta in np.linspace(-30.0, -5.0, 40):
        assert at((NAN, NAN, 1.0, 1.0), eta, 1.0, 0.0)[0] == pytest.approx(
            np.log(-np.expm1(-np.exp(eta - 1.0))), rel=1e-9
        )


@pytest.mark.parametrize(
    "counts",
    [
        (NAN, NAN, NAN, 5.0),
        (NAN, 2.0, NAN, 5.0),
        (3.0, NAN, 2.0, 5.0),
        (-1.0, 3.0, 3.0, 5.0),
        (3.0, 2.0, -1.0, 4.0),
        (3.0, 2.0, 1.0, 5.0),
        (3.0, 1.0, 0.0, 5.0),
        (6.0, NAN, NAN, 5.0),
        (NAN, NAN, 6.0, 5.0),
        (3.0, 1.0, 1.0, NAN),
        (3.0, 1.0, 1.0, np.inf),
        (3.0, NAN, NAN, NAN),
        (3.0, NAN, NAN, np.inf),
        (0.0, 0.0, 0.0, -1.0),
    ],
)
def test_counts_that_cannot_be_are_refused_with_their_line(counts: tuple[float, ...]) -> None:
    good = (3.0, 1.0, 1.0, 5.0)
    with pytest.raises(CountError, match="line 1"):
        coefficients(ledger(np.array([good, counts]), np.zeros(2)))


def test_half_known_lines_are_used_as_far_as_they_go() -> None:
    """Healthy and damaged known, dead not: healthy / not; damaged and dead known: alive / dead."""
    half = [((3.0, 1.0, NAN, 5.0), (3.0, NAN, NAN, 5.0)), ((NAN, 1.0, 2.0, 5.0), (NAN, NAN, 2.0, 5.0))]
    for counts, as_if in half:
        np.testing.assert_array_equal(c_of(*counts), c_of(*as_if))
        used, same = (log_choose(ledger(np.array([x]), np.zeros(1))) for x in (counts, as_if))
        np.testing.assert_allclose(used, same, err_msg=f"{counts}")
