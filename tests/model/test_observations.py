"""Exposures as functions of the clock, and tables of lines as columns of levels."""

import numpy as np
import pytest
from numpy.polynomial import chebyshev

from model.exposure.damage import ClockDraws, damage_rate
from model.exposure.table import (
    CHILL_NODES,
    LOG_CHILL_RANGE,
    LOG_Q10_RANGE,
    Q10_NODES,
    Array,
    ExposureTable,
    chebyshev_points,
    constant_log_days,
)
from model.fit.lines import LINE_DTYPE, Lines, observe
from tests.model.ledgers import NAN, REFERENCE, table

N = 60
RNG = np.random.default_rng(31)
INSIDE, DAYS = RNG.uniform(2.0, 36.0, N), RNG.uniform(1.0, 20.0, N)
THRESHOLD, SENSITIVITY = RNG.uniform(6.0, 15.0, N), RNG.choice([0.1, 0.4, 1.0], N)
# Middle and ends of the prior's 95 %, well inside the tabulated range.
CLOCKS = [(log_q10, log_chill) for log_q10 in (0.23, 0.47, 0.8) for log_chill in (-2.0, -0.7, 0.6)]


def made() -> ExposureTable:
    log_days = constant_log_days(INSIDE, DAYS, THRESHOLD, SENSITIVITY)
    return ExposureTable(log_days, np.zeros_like(log_days))


def direct(log_q10: float, log_chill: float) -> Array:
    """Return log equivalent days from the clock itself."""
    clock = ClockDraws(np.array([log_q10]), THRESHOLD[:, None], np.exp(log_chill) * SENSITIVITY[:, None])
    log_days: Array = np.log(DAYS * damage_rate(INSIDE[:, None], clock)[:, 0])
    return log_days


def test_points_are_those_of_numpy() -> None:
    np.testing.assert_allclose(chebyshev_points(-1.0, 1.0, 7), chebyshev.chebpts1(7), atol=1e-15)
    low, high = LOG_Q10_RANGE
    np.testing.assert_allclose(
        ExposureTable.log_q10_points, low + (high - low) * (chebyshev.chebpts1(Q10_NODES) + 1.0) / 2.0
    )


@pytest.mark.parametrize(("log_q10", "log_chill"), CLOCKS)
def test_between_the_points_a_table_follows_the_clock(log_q10: float, log_chill: float) -> None:
    """To a tenth of the sd that two dates without times of day leave in a week (0.06)."""
    found, variance = made().at(log_q10, log_chill)
    np.testing.assert_allclose(found, direct(log_q10, log_chill), atol=6e-3)
    np.testing.assert_array_equal(variance, 0.0)


def test_at_the_points_a_table_is_what_was_tabulated() -> None:
    values = np.random.default_rng(5).normal(size=(4, Q10_NODES, CHILL_NODES))
    exposure = ExposureTable(values, values**2)
    for i, log_q10 in enumerate(ExposureTable.log_q10_points):
        for j, log_chill in enumerate(ExposureTable.log_chill_points):
            mean, variance = exposure.at(float(log_q10), float(log_chill))
            np.testing.assert_allclose(mean, values[:, i, j], atol=1e-11)
            np.testing.assert_allclose(variance, values[:, i, j] ** 2, atol=1e-11)


def test_between_points_it_is_the_polynomial_through_them() -> None:
    """By numpy's Chebyshev series: a product of polynomials of the highest degrees comes back exactly."""
    one = chebyshev.Chebyshev([0.3, -0.2, 0.1, 0.4, -0.5], domain=LOG_Q10_RANGE)
    two = chebyshev.Chebyshev([0.1, 0.2, -0.3, 0.2, 0.1, -0.1, 0.3, 0.2], domain=LOG_CHILL_RANGE)
    values = (one(ExposureTable.log_q10_points)[:, None] * two(ExposureTable.log_chill_points))[None]
    exposure = ExposureTable(values, np.zeros_like(values))
    for log_q10, log_chill in CLOCKS:
        assert exposure.at(log_q10, log_chill)[0][0] == pytest.approx(one(log_q10) * two(log_chill), abs=1e-12)


def test_beyond_the_range_its_end_counts() -> None:
    exposure = made()
    for beyond, end in (((9.0, -0.5), (LOG_Q10_RANGE[1], -0.5)), ((0.4, -99.0), (0.4, LOG_CHILL_RANGE[0]))):
        np.testing.assert_allclose(exposure.at(*beyond)[0], exposure.at(*end)[0], atol=1e-12)


def test_a_variance_is_never_below_zero() -> None:
    """A polynomial through values near 0 dips below it."""
    values = np.zeros((1, Q10_NODES, CHILL_NODES))
    values[0, 2, 3] = 1.0
    exposure = ExposureTable(values, values)
    grid = np.linspace(*LOG_CHILL_RANGE, 101)
    assert min(exposure.at(0.6, float(x))[0][0] for x in grid) < -0.01
    assert min(exposure.at(0.6, float(x))[1][0] for x in grid) == 0.0


def test_draws_and_some_lines_agree_with_one_clock_at_a_time() -> None:
    values = constant_log_days(INSIDE, DAYS, THRESHOLD, SENSITIVITY)
    exposure = ExposureTable(values, 0.01 * values**2)
    clocks = np.array(CLOCKS)
    mean, variance = exposure.at_draws(clocks[:, 0], clocks[:, 1])
    rows = np.array([5, 3, 40])
    some = exposure.take(rows)
    assert (mean.shape, len(some), len(exposure)) == ((N, len(CLOCKS)), 3, N)
    for k, clock in enumerate(CLOCKS):
        for found, at_once in zip(exposure.at(*clock), (mean, variance), strict=True):
            np.testing.assert_allclose(at_once[:, k], found, atol=1e-12)
        for found, whole in zip(some.at(*clock), exposure.at(*clock), strict=True):
            np.testing.assert_allclose(found, whole[rows])


def mixed_table() -> tuple[Lines, Array]:
    lines = table(["c", "a", "b", "a", "c"], np.array([3.0, 5.0, 7.0, 5.0, 3.0]), seller=None)
    assert lines.dtype == LINE_DTYPE
    lines["genus"] = ["Hoya", "Anthurium", "Nonesuch", "Hoya", "Anthurium"]
    lines["cultivar"] = [None, "Red", None, "Linearis", "RED"]
    lines["seller"] = ["Ann", "Bob", None, "Bob", "ANN"]
    lines["quarter"] = [8100, 8101, 8102, 8101, 8100]
    lines["container"][2] = "carton"
    counts = np.column_stack([np.arange(5.0), np.zeros(5), np.ones(5), np.arange(5.0) + 1.0])
    return lines, counts


def test_a_table_becomes_columns_box_by_box() -> None:
    lines, counts = mixed_table()
    observations, order, _ = observe(lines, counts, REFERENCE)
    assert order.tolist() == [1, 3, 2, 0, 4]
    assert observations.box.tolist() == [0, 0, 1, 2, 2]
    assert (observations.n_boxes, len(observations)) == (3, 5)
    np.testing.assert_array_equal(observations.healthy, counts[order, 0])

    def names(kind: str) -> list[object]:
        return [observations.levels[kind][code] if code >= 0 else None for code in observations.codes[kind]]

    assert names("genus") == ["Anthurium", "Hoya", None, "Hoya", "Anthurium"]
    assert names("cultivar") == ["Anthurium red", "Hoya linearis", None, "Hoya", "Anthurium red"]
    assert names("seller") == ["bob", "bob", None, "ann", "ann"]
    assert (
        observations.unnamed_seller.tolist()
        == observations.unknown_genus.tolist()
        == [False, False, True, False, False]
    )
    assert names("drift") == [("bob", 8101), ("bob", 8101), None, ("ann", 8100), ("ann", 8100)]
    # Reference levels have no effect: aroids, the foam box, damp wrap.
    assert names("group") == [None, "hoya", None, "hoya", None]
    assert names("container") == [None, None, "carton", None, None]
    assert names("roots") == [None] * 5
    assert names("service") == [""] * 5
    tabulated = np.log([REFERENCE.genera[name].time_ratio for name in ("Anthurium", "Hoya")])
    np.testing.assert_allclose(observations.log_time_ratio[:2], tabulated)
    assert observations.log_time_ratio[2] < tabulated.min()


def test_some_boxes_are_renumbered_and_keep_their_levels() -> None:
    lines, counts = mixed_table()
    observations = observe(lines, counts, REFERENCE).observations
    some = observations.take_boxes(np.array([2, 0]))
    assert some.box.tolist() == [0, 0, 1, 1]
    assert some.healthy.tolist() == observations.healthy[[3, 4, 0, 1]].tolist()
    assert some.levels == observations.levels
    np.testing.assert_array_equal(some.codes["genus"], observations.codes["genus"][[3, 4, 0, 1]])
    np.testing.assert_allclose(some.exposure.at(0.4, -1.0)[0], observations.exposure.at(0.4, -1.0)[0][[3, 4, 0, 1]])
    assert observations.take_boxes(np.array([], dtype=np.intp)).n_boxes == 0


def test_boxes_taken_out_are_as_if_observed_alone() -> None:
    """Against the table without the rows of the other box."""
    lines, counts = mixed_table()
    taken = observe(lines, counts, REFERENCE).of_boxes(np.array([0, 2]))
    kept = np.array([row for row in range(len(lines)) if lines["genus"][row] != "Nonesuch"])
    alone = observe(lines[kept], counts[kept], REFERENCE)
    assert taken.plants == alone.plants
    assert taken.order.tolist() == kept[alone.order].tolist()
    one, two = taken.observations, alone.observations
    assert one.levels == two.levels
    assert one.levels["container"] == ()
    for kind, codes in two.codes.items():
        assert one.codes[kind].tolist() == codes.tolist(), kind
    for name in ("box", "healthy", "damaged", "dead", "sent", "log_time_ratio", "unnamed_seller", "unknown_genus"):
        np.testing.assert_array_equal(getattr(one, name), getattr(two, name), err_msg=name)
    np.testing.assert_array_equal(one.exposure.at(0.4, -1.0), two.exposure.at(0.4, -1.0))


def test_unknown_counts_stay_unknown() -> None:
    lines, counts = mixed_table()
    counts[0, 1:3] = NAN
    observations, order, _ = observe(lines, counts, REFERENCE)
    assert np.isnan(observations.dead[order == 0]).all()
    assert not np.isnan(observations.dead[order != 0]).any()
