"""Boxes lost whole and wrong records mixed into the likelihood: against sums over dense grids, and differences."""

import numpy as np
import pytest
from scipy import integrate, special, stats

from model.exposure.table import Array, Indices
from model.fit.box_integral import BoxIntegral, Setting
from model.fit.grouping import Grouping
from model.fit.likelihood import value
from model.fit.strays import StrayRates, Strays, mixed_boxes, mixed_lines
from tests.model.ledgers import NAN, ledger
from tests.model.test_box_integral import (
    BOX,
    COUNTS,
    ETA,
    FINE,
    FIRST_LINES,
    N_BOXES,
    PREDICTORS,
    UNITS,
    USUAL,
    WIDE,
    Case,
    c_of,
    close,
)

RATES = StrayRates(box=0.01, line=0.02, healthy=0.01, dead=0.95)
LOST = 0.03


def strays_of(counts: Array = COUNTS, box: Indices = BOX, rates: StrayRates = RATES) -> Strays:
    return Strays.of(ledger(counts, np.zeros(len(counts)), box=box), rates)


def mixed(nodes: tuple[int, int] = FINE, rates: StrayRates = RATES) -> BoxIntegral:
    strays = strays_of(rates=rates)
    return BoxIntegral(c_of(COUNTS), Grouping.of(BOX), box_nodes=nodes[0], line_nodes=nodes[1], strays=strays)


def setting_of(case: Case, lost: float = LOST) -> Setting:
    return case.setting()._replace(lost=lost)


def summed(rows: Indices, case: Case) -> float:
    """Return the mixed log likelihood of one box by sums over grids of both effects, part by part."""
    strays = strays_of()
    total = -0.5 * UNITS**2 - 0.5 * np.log(2 * np.pi) + np.log(UNITS[1] - UNITS[0])
    step = PREDICTORS[1] - PREDICTORS[0]
    c = c_of(COUNTS)
    for i in rows:
        log_likelihood = value(PREDICTORS, np.tile(c[:, [i]], len(PREDICTORS)), case.delta, case.h0)
        apart = (PREDICTORS - (ETA[i] + case.box_sd * UNITS)[:, None]) / case.line_sd
        with np.errstate(divide="ignore"):
            own = special.logsumexp(log_likelihood - 0.5 * apart**2, axis=1) + np.log(step / case.line_sd)
        own -= 0.5 * np.log(2 * np.pi)
        total += np.logaddexp(np.log1p(-RATES.line) + own, np.log(RATES.line) + strays.line_any[i])
    b, right = BOX[rows[0]], 1.0 - RATES.box
    parts = (special.logsumexp(total), strays.box_lost[b], strays.box_any[b])
    return float(special.logsumexp(parts, b=(right * (1.0 - LOST), right * LOST, RATES.box)))


@pytest.mark.parametrize("case", [USUAL, WIDE], ids=str)
def test_the_mixture_is_the_sum_over_dense_grids(case: Case) -> None:
    expected = [summed(rows, case) for rows in np.split(np.arange(len(BOX)), FIRST_LINES)]
    np.testing.assert_allclose(mixed().value(ETA, setting_of(case)), expected, rtol=1e-8, atol=2e-5)
    # The first box has a line all dead and one all healthy: with wide effects its integrand has two humps.
    error = 0.02 if case is USUAL else 0.1
    np.testing.assert_allclose(mixed((9, 5)).value(ETA, setting_of(case)), expected, rtol=1e-6, atol=error)


def test_without_strays_the_clock_is_left() -> None:
    none = StrayRates(0.0, 0.0, 0.01, 0.95)
    plain = BoxIntegral(c_of(COUNTS), Grouping.of(BOX), box_nodes=FINE[0], line_nodes=FINE[1])
    found = mixed(rates=none).value(ETA, setting_of(USUAL, 0.0))
    np.testing.assert_allclose(found, plain.value(ETA, USUAL.setting()), rtol=1e-9)


@pytest.mark.parametrize("case", [USUAL, WIDE], ids=str)
def test_derivatives_are_those_of_the_mixture(case: Case) -> None:
    t = mixed().terms(ETA, setting_of(case))
    np.testing.assert_allclose(t.value, mixed().value(ETA, setting_of(case)), rtol=1e-10)
    grouping, step = Grouping.of(BOX), 1e-4
    hessian = np.zeros((len(ETA), len(ETA)))
    hessian[grouping.pair_first, grouping.pair_second] = t.eta2
    for i, direction in enumerate(np.eye(len(ETA))):
        up, down = (mixed().terms(ETA + s * direction, setting_of(case)) for s in (step, -step))
        close(t.eta[i], (up.value - down.value).sum() / (2 * step))
        close(hessian[i], (up.eta - down.eta) / (2 * step))
        close(t.eta_delta[i], (up.delta - down.delta).sum() / (2 * step))
    for name, found in (("delta", t.delta.sum()), ("h0", t.h0), ("lost", t.lost)):
        size = 0.1 * step if name != "delta" else step
        up, down = (
            mixed().terms(ETA, setting_of(case)._replace(**{name: getattr(setting_of(case), name) + s}))
            for s in (size, -size)
        )
        close(found, (up.value - down.value).sum() / (2 * size))
        if name == "delta":
            close(t.delta2, (up.delta - down.delta) / (2 * size))
    for name, found in (("box_sd", t.log_box_sd.sum()), ("line_sd", t.log_line_sd.sum())):
        up, down = (
            mixed().terms(ETA, setting_of(case)._replace(**{name: getattr(setting_of(case), name) * np.exp(s)}))
            for s in (step, -step)
        )
        close(found, (up.value - down.value).sum() / (2 * step))


def test_any_counts_have_the_likelihood_of_shares_drawn_uniformly() -> None:
    """Against scipy's Dirichlet-multinomial and beta-binomial with unit parameters, less their coefficients."""
    counts = np.array([(5, 3, 4, 12), (7, NAN, NAN, 12), (NAN, NAN, 2, 9)])
    found = strays_of(counts, np.zeros(3, dtype=np.intp)).line_any
    coefficient = special.gammaln(13) - special.gammaln([6, 4, 5]).sum()
    three = stats.dirichlet_multinomial.logpmf([5, 3, 4], [1, 1, 1], np.array(12)) - coefficient
    two = [stats.betabinom.logpmf(k, n, 1, 1) - np.log(special.comb(n, k)) for k, n in ((7, 12), (2, 9))]
    np.testing.assert_allclose(found, [three, *two], rtol=1e-12)


def test_a_box_of_any_counts_has_the_same_shares_for_all_its_lines() -> None:
    """By integrating the shares of healthy over the lines of a box, known as healthy or not."""
    counts = np.array([(7, NAN, NAN, 12), (3, NAN, NAN, 4)])
    found = strays_of(counts, np.zeros(2, dtype=np.intp)).box_any
    expected = integrate.quad(lambda p: p**10 * (1 - p) ** 6, 0, 1)[0]
    assert found == pytest.approx([np.log(expected)], rel=1e-9)


def test_in_a_box_lost_whole_each_plant_has_the_same_chances() -> None:
    found = strays_of(np.array([(1.0, 2, 9, 12), (NAN, NAN, 9, 9), (0, NAN, NAN, 5)]), np.array([0, 0, 1])).box_lost
    first = np.log(0.01) + 2 * np.log(0.04) + 9 * np.log(0.95) + 9 * np.log(0.95)
    np.testing.assert_allclose(found, [first, 5 * np.log(0.99)], rtol=1e-12)


def test_a_line_or_box_that_contradicts_moves_the_sum_no_further_than_being_a_stray() -> None:
    strays = strays_of()
    clock = np.full(len(BOX), -1e4)
    by_line, own = mixed_lines(clock, strays)
    np.testing.assert_allclose(by_line, np.log(RATES.line) + strays.line_any)
    assert own.max() < 1e-200
    boxes = mixed_boxes(np.full(N_BOXES, -1e6), strays, LOST)
    np.testing.assert_allclose(boxes.clock, 0.0)
    assert (boxes.value >= np.log(RATES.box) + strays.box_any).all()


def test_the_box_effect_follows_the_lines_that_agree() -> None:
    """Three lines all healthy and one all dead: as if that one had not been counted, but for what a stray costs."""
    counts = np.array([(40.0, 0, 0, 40)] * 3 + [(0, 0, 40.0, 40)])
    eta, grouping = np.full(4, -4.0), Grouping.of(np.zeros(4, dtype=np.intp))
    setting = Setting(np.array([0.5]), 0.2, 1.2, 0.01, 0.0)
    robust = BoxIntegral(c_of(counts), grouping, strays=strays_of(counts, np.zeros(4, dtype=np.intp)))
    alone = BoxIntegral(
        c_of(counts[:3]), Grouping.of(np.zeros(3, dtype=np.intp)),
        strays=strays_of(counts[:3], np.zeros(3, dtype=np.intp)),
    )  # fmt: skip
    with_it, without = robust.terms(eta, setting), alone.terms(eta[:3], setting)
    np.testing.assert_allclose(with_it.eta[:3], without.eta, rtol=0.02)
    assert abs(float(with_it.eta[3])) < 1e-3
