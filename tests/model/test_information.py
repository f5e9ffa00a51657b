"""The worth of knowing against closed forms and nested Monte Carlo, and laws that it keeps.

Where a choice is between nothing and a margin of mean m that is normal given what would be known, the expected value of
partial perfect information is s L(|m| / s), with the unit normal loss integral L(z) = phi(z) - z (1 - Phi(z)) and s the
sd of the conditional mean (Raiffa & Schlaifer 1961, Applied Statistical Decision Theory, 5.5).
"""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from model.decision.information import (
    Worth,
    given_known,
    variance_share,
    worth_of_knowing,
)
from model.decision.more_boxes import counted_noise_sd

Array = NDArray[np.float64]


def loss(z: float) -> float:
    return float(stats.norm.pdf(z) - z * stats.norm.sf(z))


def worth(margins: Array, inputs: list[Array]) -> Worth:
    return worth_of_knowing(margins, given_known(margins, inputs))


def everything(margins: Array) -> Worth:
    return worth_of_knowing(margins, margins)


def or_nothing(margin: Array, known: Array) -> tuple[Array, list[Array]]:
    return np.stack([margin, np.zeros(len(margin))], axis=1), [known, np.empty((len(margin), 0))]


@pytest.mark.parametrize(("mean", "sd", "noise"), [(10.0, 30.0, 80.0), (-40.0, 60.0, 100.0), (0.0, 20.0, 5.0)])
def test_two_choices_have_a_closed_form(mean: float, sd: float, noise: float) -> None:
    rng = np.random.default_rng(1)
    known = rng.standard_normal((65_536, 1))
    margin = mean + sd * known[:, 0] + noise * rng.standard_normal(len(known))
    found = worth(*or_nothing(margin, known))
    assert found.mean == pytest.approx(sd * loss(abs(mean) / sd), abs=3 * found.standard_error)
    assert found.standard_error < 0.5
    # Of everything: the same form with the whole sd.
    both = float(np.hypot(sd, noise))
    of_all = everything(or_nothing(margin, known)[0])
    assert of_all.mean == pytest.approx(both * loss(abs(mean) / both), abs=3 * of_all.standard_error)
    # Cases that change: the conditional mean is on the other side of 0.
    assert found.changed_share == pytest.approx(stats.norm.cdf(-abs(mean) / sd), abs=0.03)


def test_a_sample_has_a_closed_form() -> None:
    """n observations with noise t of what is known have the sd s sqrt(n s^2 / (n s^2 + t^2)) in the same formula."""
    rng = np.random.default_rng(2)
    known, n, noise = 30.0 * rng.standard_normal(65_536), 4, 60.0
    margin = 10.0 + known + 40.0 * rng.standard_normal(len(known))
    told = known + noise / np.sqrt(n) * rng.standard_normal(len(known))
    sd = 30.0 * np.sqrt(n * 30.0**2 / (n * 30.0**2 + noise**2))
    found = worth(*or_nothing(margin, told[:, None]))
    assert found.mean == pytest.approx(sd * loss(10.0 / sd), abs=3 * found.standard_error)


def plants(level: Array, days: Array, luck: Array) -> Array:
    """Return the margins of a slow and cheap and a fast and dear way, (..., 2), bent like those of plants."""
    slow = 600.0 * np.exp(-0.25 * np.exp(level + 0.8 * days + luck)) - 380.0
    fast = 600.0 * np.exp(-0.10 * np.exp(level + 0.2 * days + luck)) - 470.0
    return np.stack([slow, fast], axis=-1)


def nested(of: str, outer: int = 600, inner: int = 600) -> float:
    """Return the worth of knowing one of them by nested Monte Carlo: outer draws stratified, the rest drawn anew."""
    rng = np.random.default_rng(3)
    fixed = stats.norm.ppf((np.arange(outer) + 0.5) / outer)[:, None]
    drawn = {name: rng.standard_normal((outer, inner)) * sd for name, sd in SDS.items()}
    drawn[of] = SDS[of] * np.broadcast_to(fixed, (outer, inner))
    given = plants(**drawn).mean(axis=1)
    given = np.concatenate([given, np.zeros((outer, 1))], axis=1)
    return float(given.max(axis=1).mean() - given.mean(axis=0).max())


SDS = {"level": 0.5, "days": 0.6, "luck": 0.7}


def drawn_plants(n: int, seed: int = 4) -> tuple[dict[str, Array], Array]:
    rng = np.random.default_rng(seed)
    drawn = {name: sd * rng.standard_normal(n) for name, sd in SDS.items()}
    return drawn, np.concatenate([plants(**drawn), np.zeros((n, 1))], axis=1)


@pytest.mark.parametrize("of", SDS)
def test_nested_monte_carlo_agrees(of: str) -> None:
    drawn, margins = drawn_plants(16_384)
    known = drawn[of][:, None]
    found = worth(margins, [known, known, np.empty((len(known), 0))])
    assert found.mean == pytest.approx(nested(of), abs=3 * found.standard_error)
    assert found.is_clear


def test_laws() -> None:
    """Nothing is worth more than everything, and more known not less; choices may stand in any order."""
    drawn, margins = drawn_plants(4096)
    none = np.empty((len(margins), 0))
    inputs = {name: own[:, None] for name, own in drawn.items()}
    two = np.concatenate([inputs["level"], inputs["days"]], axis=1)
    all_three = np.concatenate([two, inputs["luck"]], axis=1)
    of_everything = everything(margins)
    each = {name: worth(margins, [own, own, none]) for name, own in inputs.items()}
    assert all(0 < found.mean <= of_everything.mean for found in each.values())
    of_two, of_all = worth(margins, [two, two, none]), worth(margins, [all_three, all_three, none])
    assert max(each["level"].mean, each["days"].mean) < of_two.mean + 2 * of_two.standard_error
    assert of_two.mean < of_all.mean <= of_everything.mean
    # There is nothing else than the three: together they are everything, but for the regression.
    assert of_all.mean > 0.97 * of_everything.mean
    turned = worth(margins[:, [2, 1, 0]], [none, inputs["level"], inputs["level"]])
    assert turned.mean == pytest.approx(each["level"].mean)
    assert turned.changed_share == pytest.approx(each["level"].changed_share)
    # More draws agree.
    more, more_margins = drawn_plants(32_768, seed=5)
    known = more["level"][:, None]
    found = worth(more_margins, [known, known, np.empty((len(known), 0))])
    error = float(np.hypot(found.standard_error, each["level"].standard_error))
    assert found.mean == pytest.approx(each["level"].mean, abs=3 * error)


def test_what_does_not_bear_on_the_choice_is_worth_nothing() -> None:
    """On average nothing or less, where a maximum over fitted values would be worth 1 to 3 by chance alone."""
    rng = np.random.default_rng(6)
    found = []
    for _ in range(40):
        margin, known = 5.0 + 150.0 * rng.standard_normal(4096), rng.standard_normal((4096, 3))
        found.append(worth(*or_nothing(margin, known)))
    means = np.array([one.mean for one in found])
    assert means.mean() < 2 * means.std() / np.sqrt(len(means))
    # Two standard errors are exceeded by chance in 1 of 40.
    assert sum(one.is_clear for one in found) <= 4


def test_where_the_choice_stays_nothing_is_worth_anything() -> None:
    rng = np.random.default_rng(7)
    known = rng.standard_normal((1024, 1))
    margin = 500.0 + 50.0 * known[:, 0] + 20.0 * rng.standard_normal(1024)
    found = worth(*or_nothing(margin, known))
    assert found == (0.0, 0.0, 0.0)
    assert not found.is_clear
    # What does not vary, or is not there, tells nothing.
    same = np.full((1024, 2), 3.0)
    assert worth(*or_nothing(50.0 * known[:, 0] + 1.0, same)).changed_share == 0.0


def test_shares_of_the_variance() -> None:
    """Of 3 a + 2 b^2 + noise with sd 1: 9, 8 and 1 of 18 (the variance of a squared normal is 2)."""
    rng = np.random.default_rng(8)
    a, b, noise = rng.standard_normal((3, 16_384))
    y = 3 * a + 2 * b**2 + noise
    for known, expected in ((a, 9 / 18), (b, 8 / 18), (rng.standard_normal(len(a)), 0.0)):
        found = variance_share(y, given_known(y[:, None], [known[:, None]])[:, 0], float(y.var()))
        assert found.mean == pytest.approx(expected, abs=3 * found.standard_error + 1e-3)
        assert found.standard_error < 0.02


def test_a_rare_mark_is_seen() -> None:
    """One box in 50 is lost whole, with all of its 400."""
    rng = np.random.default_rng(9)
    lost = (rng.random(8192) < 0.02).astype(float)
    y = 400.0 * (1.0 - lost) + 30.0 * rng.standard_normal(8192)
    found = variance_share(y, given_known(y[:, None], [lost[:, None]])[:, 0], float(y.var()))
    expected = 400.0**2 * lost.var() / y.var()
    assert found.mean == pytest.approx(expected, abs=3 * found.standard_error)


def test_noise_of_counts() -> None:
    """A plant's information by differences of its log chances; boxes beside it by hand."""
    chance, step = 0.7, 1e-5
    eta = np.log(-np.log(chance))
    log_healthy = -np.exp(eta + np.array([-step, step]))
    log_not = np.log(-np.expm1(log_healthy))
    slopes = np.diff([log_healthy, log_not], axis=1)[:, 0] / (2 * step)
    information = chance * slopes[0] ** 2 + (1 - chance) * slopes[1] ** 2
    found = counted_noise_sd(plants=12, healthy_chance=chance, shipment_sd=0.6, line_sd=0.3, boxes=5)
    assert found == pytest.approx(np.sqrt((0.36 + 0.09 + 1 / (12 * information)) / 5), rel=1e-6)
    assert counted_noise_sd(plants=12, healthy_chance=1.0, shipment_sd=0.6, line_sd=0.3, boxes=5) == np.inf
