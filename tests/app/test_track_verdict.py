"""What a track record comes to in words; the tails are those of scipy's binomial distribution."""

import pytest
from scipy import stats

from app.schemas.track_record import RangesHeld, ScoreDifference
from app.track_record.verdict import ranges_verdict, rules_verdict, verdict


def ranges(n: int, held: int, chance: float = 0.9, above: int = 0) -> RangesHeld:
    exact = stats.binom(n, chance)
    return RangesHeld(
        n=n,
        held=held,
        expected=n * chance,
        below=n - held - above,
        above=above,
        chance_fewer=float(exact.cdf(held)),
        chance_more=float(exact.sf(held - 1)),
    )


def better(mean: float, half: float | None, boxes: int = 40) -> ScoreDifference:
    low, high = (None, None) if half is None else (mean - half, mean + half)
    return ScoreDifference(boxes=boxes, mean=mean, low=low, high=high)


def test_slightly_too_narrow() -> None:
    assert ranges_verdict(0.8, ranges(40, 33)) == (
        "Of 40 boxes the 80 % range held the count 33 times; such whole-number ranges should hold about 36: "
        "slightly too narrow, could be chance."
    )


@pytest.mark.parametrize(
    ("held", "said"),
    [
        (24, "too narrow, and that is hardly chance."),
        (36, "about right."),
        (35, "about right."),
        (39, "slightly too wide, could be chance."),
        (40, "too wide, and that is hardly chance."),
    ],
)
def test_width(held: int, said: str) -> None:
    # binomial of 40 and 0.9: 39 or more have 0.08, 40 have 0.015
    assert ranges_verdict(0.8, ranges(40, held)).endswith(f": {said}")


@pytest.mark.parametrize(
    ("n", "held", "beginning"),
    [(1, 0, "Of 1 box the 80 % range held the count never"), (3, 1, "Of 3 boxes the 80 % range held the count once")],
)
def test_few_boxes_are_no_judgement(n: int, held: int, beginning: str) -> None:
    said = ranges_verdict(0.8, ranges(n, held))
    assert said.startswith(beginning)
    assert said.endswith(f"about {0.9 * n:.1f}: too few boxes to judge (fewer than 10).")


@pytest.mark.parametrize(
    ("difference", "said"),
    [
        (None, "All forecasts were those of the rules of thumb, so there is nothing to compare them with."),
        (better(-0.4, 0.1), "better than the rules of thumb alone (log score better by 0.40 a box): more than chance"),
        (better(0.4, 0.5), "worse than the rules of thumb alone (log score worse by 0.40 a box): could be chance."),
        (better(-0.4, None, 1), "In 1 box the forecasts foretold what came better"),
        (better(-0.4, 0.1, 9), "too few boxes to judge (fewer than 10)."),
        (better(0.0, 0.0), "In 40 boxes the forecasts foretold what came as the rules of thumb alone did."),
    ],
)
def test_against_the_rules(difference: ScoreDifference | None, said: str) -> None:
    assert said in rules_verdict(difference)


def test_misses_on_one_side_are_told() -> None:
    leaning = verdict(0.8, ranges(40, 31, above=0), None, 0)
    assert "Of the 9 misses 9 lie below the range" in leaning
    assert "misses" not in verdict(0.8, ranges(40, 31, above=4), None, 0)


def test_without_a_range_only_the_rules_are_spoken_of() -> None:
    nothing = RangesHeld(n=0, held=0, expected=0, below=0, above=0, chance_fewer=1, chance_more=1)
    assert verdict(0.8, nothing, None, 0).startswith("All forecasts were those")


def test_lost_boxes_are_told() -> None:
    assert verdict(0.8, ranges(40, 36), None, 1).endswith(
        "1 lost box is in no score: all this is about boxes that came."
    )
    assert "2 lost boxes are in no score" in verdict(0.8, ranges(40, 36), None, 2)
    assert "lost" not in verdict(0.8, ranges(40, 36), None, 0)
