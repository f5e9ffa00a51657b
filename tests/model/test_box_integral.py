"""Integrals over shipment and line effects, against sums over dense grids; their derivatives against differences."""

from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from scipy import special

from model.exposure.table import Array
from model.fit.box_integral import BOX_NODES, LINE_NODES, BoxIntegral, BoxTerms, Setting
from model.fit.grouping import Grouping
from model.fit.likelihood import coefficients, value
from tests.model.ledgers import NAN, ledger

# A box of three lines, one of two-state lines, single lines, and a box with 10,000 plants in one of two lines.
COUNTS = np.array(
    [
        (5, 3, 4, 12),
        (0, 0, 20, 20),
        (30, 0, 0, 30),
        (7, NAN, NAN, 12),
        (NAN, NAN, 2, 9),
        (2, 1, 0, 3),
        (6000, 1500, 2500, 10_000),
        (10, 1, 1, 12),
        (0, 1, 0, 1),
    ]
)
BOX = np.array([0, 0, 0, 1, 1, 2, 3, 3, 4])
ETA = np.array([-1.0, -2.0, 0.5, -1.0, 0.0, -3.0, -1.0, -1.2, -1.0])
N_BOXES = int(BOX[-1]) + 1
FIRST_LINES = np.searchsorted(BOX, np.arange(1, N_BOXES))
# Nodes of shipment and line effects.
USUAL_NODES, FINE, NO_EFFECTS = (BOX_NODES, LINE_NODES), (41, 25), (1, 1)
# Grids of the shipment effect in its own sds, and of the linear predictor: sums over them are good to 1e-9 here.
UNITS = np.linspace(-12.0, 12.0, 801)
PREDICTORS = np.arange(-14.0, 8.0, 0.004)


class Case(NamedTuple):
    """Scales of shipment and line effects, delta and h0."""

    box_sd: float
    line_sd: float
    delta: float = 1.2
    h0: float = 0.02

    def setting(self, n_boxes: int = N_BOXES) -> Setting:
        return Setting(np.full(n_boxes, self.box_sd), self.line_sd, self.delta, self.h0)


USUAL, WIDE = Case(0.6, 0.4), Case(1.5, 0.8)
CASES = (USUAL, WIDE, Case(0.6, 0.4, h0=0.0), Case(0.2, 1.2), Case(2.5, 0.2, delta=0.4), Case(0.3, 0.05, h0=0.1))


def c_of(counts: Array) -> Array:
    return coefficients(ledger(counts, np.zeros(len(counts))))


def integral(counts: Array = COUNTS, nodes: tuple[int, int] = USUAL_NODES) -> BoxIntegral:
    box = BOX if counts is COUNTS else np.zeros(len(counts), dtype=np.intp)
    return BoxIntegral(c_of(counts), Grouping.of(box), box_nodes=nodes[0], line_nodes=nodes[1])


def summed(counts: Array, eta: Array, case: Case) -> float:
    """Return the integrated log likelihood of one box by a sum over grids of both effects."""
    c = c_of(counts)
    total = -0.5 * UNITS**2 - 0.5 * np.log(2 * np.pi) + np.log(UNITS[1] - UNITS[0])
    step = PREDICTORS[1] - PREDICTORS[0]
    for i, predictor in enumerate(eta):
        log_likelihood = value(PREDICTORS, np.tile(c[:, [i]], len(PREDICTORS)), case.delta, case.h0)
        peak = log_likelihood.max()
        apart = (PREDICTORS - (predictor + case.box_sd * UNITS)[:, None]) / case.line_sd
        density = np.exp(log_likelihood - peak - 0.5 * apart**2).sum(axis=1) * step / case.line_sd
        with np.errstate(divide="ignore"):
            total += np.log(density / np.sqrt(2 * np.pi)) + peak
    return float(special.logsumexp(total))


@cache
def summed_boxes(case: Case) -> tuple[float, ...]:
    return tuple(summed(COUNTS[rows], ETA[rows], case) for rows in np.split(np.arange(len(BOX)), FIRST_LINES))


@pytest.mark.parametrize("case", CASES, ids=str)
def test_many_nodes_give_the_sum_over_dense_grids(case: Case) -> None:
    found = integral(nodes=FINE).value(ETA, case.setting())
    np.testing.assert_allclose(found, summed_boxes(case), rtol=1e-9, atol=5e-6)


@pytest.mark.parametrize(("case", "error"), [(USUAL, 2e-4), (WIDE, 4e-3)])
def test_the_usual_nodes_are_close_to_it(case: Case, error: float) -> None:
    np.testing.assert_allclose(integral().value(ETA, case.setting()), summed_boxes(case), rtol=1e-9, atol=error)


@pytest.mark.parametrize(
    ("counts", "error"), [((0.0, 0.0, 10_000.0, 10_000.0), 0.02), ((10_000.0, 0.0, 0.0, 10_000.0), 0.01)]
)
def test_ten_thousand_plants_of_one_fate_are_integrated_too(counts: tuple[float, ...], error: float) -> None:
    """The likelihood is then a cliff, not a peak."""
    row, eta = np.array([counts]), np.array([-1.0 if counts[2] else -5.0])
    expected = summed(row, eta, USUAL)
    assert integral(row).value(eta, USUAL.setting(1))[0] == pytest.approx(expected, abs=error)
    assert integral(row, FINE).value(eta, USUAL.setting(1))[0] == pytest.approx(expected, abs=2e-5)


def test_nodes_settle_where_every_line_is_dead() -> None:
    """Newton's steps to the mode there go to and fro unless they shorten: nodes off the mode err by 0.2."""
    row = np.array([(0.0, 0.0, dead, dead) for dead in (14.0, 10.0, 11.0, 15.0)])
    eta, case = np.array([0.8, 0.8, 0.5, 0.9]), Case(1.2, 1.0, delta=1.8, h0=0.05)
    assert integral(row).value(eta, case.setting(1))[0] == pytest.approx(summed(row, eta, case), abs=0.06)


def test_effects_of_no_size_leave_the_likelihood_of_the_lines() -> None:
    plain = np.bincount(BOX, value(ETA, c_of(COUNTS), 1.2, 0.02))
    tiny = Case(1e-5, 1e-5)
    np.testing.assert_allclose(integral().value(ETA, tiny.setting()), plain, rtol=1e-5)
    none = integral(nodes=NO_EFFECTS)
    np.testing.assert_allclose(none.value(ETA, tiny.setting()), plain, rtol=1e-13)
    np.testing.assert_allclose(none.value(ETA, WIDE.setting()), plain, rtol=1e-13)


def test_one_kind_of_effect_alone_is_the_other_with_no_size() -> None:
    only_box = integral(nodes=(41, 1)).value(ETA, WIDE.setting())
    only_line = integral(nodes=(1, 41)).value(ETA, WIDE.setting())
    no_line, no_box = WIDE._replace(line_sd=1e-6), WIDE._replace(box_sd=1e-6)
    np.testing.assert_allclose(only_box, integral(nodes=FINE).value(ETA, no_line.setting()), atol=1e-4)
    np.testing.assert_allclose(only_line, integral(nodes=(41, 41)).value(ETA, no_box.setting()), atol=1e-4)


def difference(case: Case, **changed: float | Array) -> tuple[BoxTerms, BoxTerms]:
    """Return the terms after and before a step of 1e-4 in what is named; eta is given as its direction."""
    both = []
    for step in (1e-4, -1e-4):
        setting, eta = case.setting(), ETA.copy()
        if "eta" in changed:
            eta = eta + step * changed["eta"]
        if "delta" in changed:
            setting = setting._replace(delta=case.delta + step)
        if "h0" in changed:
            setting = setting._replace(h0=case.h0 + 0.1 * step)
        if "log_box_sd" in changed:
            setting = setting._replace(box_sd=setting.box_sd * np.exp(step * changed["log_box_sd"]))
        if "log_line_sd" in changed:
            setting = setting._replace(line_sd=case.line_sd * float(np.exp(step)))
        both.append(integral(nodes=FINE).terms(eta, setting))
    return both[0], both[1]


def close(found: Array | float, expected: Array | float) -> None:
    np.testing.assert_allclose(found, expected, rtol=2e-4, atol=2e-4)


@pytest.mark.parametrize("case", CASES[:5], ids=str)
def test_derivatives_are_those_of_the_integral(case: Case) -> None:
    t = integral(nodes=FINE).terms(ETA, case.setting())
    np.testing.assert_allclose(t.value, integral(nodes=FINE).value(ETA, case.setting()), rtol=1e-12)
    grouping = Grouping.of(BOX)
    hessian = np.zeros((len(ETA), len(ETA)))
    hessian[grouping.pair_first, grouping.pair_second] = t.eta2
    for i in range(len(ETA)):
        up, down = difference(case, eta=np.eye(len(ETA))[i])
        close(t.eta[i], (up.value - down.value).sum() / 2e-4)
        close(hessian[i], (up.eta - down.eta) / 2e-4)
        close(t.eta_delta[i], (up.delta - down.delta).sum() / 2e-4)
    up, down = difference(case, delta=1.0)
    close(t.delta, (up.value - down.value) / 2e-4)
    close(t.delta2, (up.delta - down.delta) / 2e-4)
    up, down = difference(case, log_line_sd=1.0)
    close(t.log_line_sd.sum(), (up.value - down.value).sum() / 2e-4)
    up, down = difference(case, log_box_sd=1.0)
    close(t.log_box_sd, (up.value - down.value) / 2e-4)
    if case.h0:
        up, down = difference(case, h0=1.0)
        close(t.h0, (up.value - down.value).sum() / 2e-5)


def test_the_usual_nodes_have_nearly_the_same_derivatives() -> None:
    usual, fine = (integral(nodes=nodes).terms(ETA, USUAL.setting()) for nodes in (USUAL_NODES, FINE))
    for name in BoxTerms._fields:
        np.testing.assert_allclose(getattr(usual, name), getattr(fine, name), rtol=2e-3, atol=3e-3, err_msg=name)


def test_what_was_asked_before_does_not_matter() -> None:
    """Modes are remembered as starting points only."""
    rng = np.random.default_rng(5)
    used = integral()
    for _ in range(4):
        used.value(ETA + rng.normal(0.0, 4.0, len(ETA)), Case(2.0, 1.0).setting())
    np.testing.assert_allclose(used.value(ETA, WIDE.setting()), integral().value(ETA, WIDE.setting()), atol=1e-5)


def test_order_of_lines_and_names_of_boxes_do_not_matter() -> None:
    """The same boxes backwards, their lines too."""
    backwards = BoxIntegral(c_of(COUNTS[::-1]), Grouping.of(N_BOXES - 1 - BOX[::-1]))
    there, here = backwards.terms(ETA[::-1], USUAL.setting()), integral().terms(ETA, USUAL.setting())
    np.testing.assert_allclose(there.value[::-1], here.value, rtol=1e-12)
    np.testing.assert_allclose(there.eta[::-1], here.eta, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(there.delta2[::-1], here.delta2, rtol=1e-9, atol=1e-12)


def test_without_effects_weight_two_is_the_row_twice() -> None:
    twice = np.repeat(np.arange(len(COUNTS)), 2)
    heavy = integral(2.0 * COUNTS[:5], NO_EFFECTS)
    double = integral(COUNTS[:5][twice[:10]], NO_EFFECTS)
    one, two = heavy.terms(ETA[:5], USUAL.setting(1)), double.terms(ETA[twice[:10]], USUAL.setting(1))
    np.testing.assert_allclose(one.value, two.value, rtol=1e-12)
    np.testing.assert_allclose(one.eta, two.eta.reshape(5, 2).sum(axis=1), rtol=1e-12)
    assert one.delta.sum() == pytest.approx(two.delta.sum())
    assert one.delta2.sum() == pytest.approx(two.delta2.sum())


def test_settings_by_line_and_by_box_are_those_of_each_ledger() -> None:
    """Copies of a ledger side by side, each with its own scales, delta and h0."""
    n = len(ETA)
    box = np.concatenate([BOX, N_BOXES + BOX])
    both = Setting(
        np.repeat([USUAL.box_sd, CASES[4].box_sd], N_BOXES),
        *(np.repeat([a, b], n) for a, b in zip(USUAL[1:], CASES[4][1:], strict=True)),
    )
    found = BoxIntegral(np.tile(c_of(COUNTS), 2), Grouping.of(box)).value(np.tile(ETA, 2), both)
    alone = [integral().value(ETA, case.setting()) for case in (USUAL, CASES[4])]
    np.testing.assert_allclose(found, np.concatenate(alone), rtol=1e-5)


def test_pairs_are_all_pairs_of_lines_of_one_box() -> None:
    grouping = Grouping.of(BOX)
    found = set(zip(grouping.pair_first.tolist(), grouping.pair_second.tolist(), strict=True))
    assert found == {(i, j) for i in range(len(BOX)) for j in range(len(BOX)) if BOX[i] == BOX[j]}
    assert len(grouping.pair_first) == len(found)
    np.testing.assert_array_equal(grouping.sum(np.ones(len(BOX))), np.bincount(BOX))


def test_modes_of_a_box_are_its_own_whatever_boxes_are_beside_it() -> None:
    """Boxes that settle wait for no other; those that the clock calls long dead and that live take tens of steps."""
    rng = np.random.default_rng(11)
    n_boxes, a_box = 40, 3
    box = np.repeat(np.arange(n_boxes), a_box)
    sent = np.full(len(box), 12.0)
    healthy = rng.integers(0, 13, len(box)).astype(float)
    dead = np.floor((sent - healthy) * rng.random(len(box)))
    counts = np.stack([healthy, sent - healthy - dead, dead, sent], axis=1)
    observations = ledger(counts, np.log(np.full(len(box), 5.0)), box=box)
    c, grouping = coefficients(observations), Grouping.of(box)
    eta = rng.normal(0.0, 2.0, len(box)) + np.where(box % 7 == 0, 30.0, 0.0)
    setting = Setting(np.where(np.arange(n_boxes) % 7 == 0, 12.0, 0.8), 0.5, 0.9, 0.02)
    together = BoxIntegral(c, grouping).value(eta, setting)
    for i in range(n_boxes):
        rows = box == i
        alone = BoxIntegral(c[:, rows], Grouping.of(np.zeros(a_box, dtype=np.intp)))
        own = alone.value(eta[rows], setting._replace(box_sd=setting.box_sd[[i]]))[0]
        assert together[i] == pytest.approx(own, abs=2e-3)
