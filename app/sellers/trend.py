"""Whether a seller gets better or worse: its drift in the latest quarter with boxes against the earliest, and a fall.

How likely its boxes are with a change against without one is the ratio of the densities at no change, before its boxes
and after them (Dickey & Lientz 1970, the Savage-Dickey ratio), each smoothed with the same kernel, so it is rough.
Before them stands how much sellers drift by all boxes, its own among them: that errs on the side of no change.

A fall is looked for in the newest boxes alone: how much likelier they are if plants now last half as long than if
nothing changed, as the refit found it. It is named where that is beyond a bound which few sellers reach who have not
changed; drift, which weighs whole quarters and what sellers usually do, names it later.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from app.learned import ratio_quantiles
from app.schemas import Fall, Quarter, Trend, Verdict
from app.sellers.shrinkage import FEW_BOXES
from app.serving import NEWEST, Engine
from model.plant import DRIFT_CORRELATION, drift_quarters
from model.reference import CONSTANTS

Array = NDArray[np.float64]

SURE = CONSTANTS.trend_sure_chance
MOST_ODDS = 1e6
# Of the newest boxes together, as many as `NEWEST` says.
FALL_BOUNDS = (CONSTANTS.fall_likelier_one_box, CONSTANTS.fall_likelier_two_boxes)
MOST_SAID = 1000.0
WORSE: tuple[Verdict, ...] = ("worse", "maybe_worse")
SILVERMAN = 1.06
# Ratios outside are as good as nothing, or as for ever.
SHOWN = (0.1, 10.0)
TEXTS: dict[Verdict, str] = {
    "too_few_boxes": "Too few boxes to tell whether {name} changes",
    "worse": "{name} gets worse, with {chance} chance",
    "maybe_worse": "{name} may be getting worse, with {chance} chance",
    "better": "{name} gets better; the chance that it gets worse is {chance}",
    "no_change_seen": "No change of {name} is seen; the chance that it gets worse is {chance}",
}


def seller_trend(engine: Engine, key: str, name: str) -> Trend:
    """Return the trend of a seller; drift is named only with boxes in two quarters and enough of them."""
    draws = engine.draws
    fall = told_fall(engine.fit.falls.get(key, ())) if engine.fit else None
    fell = _fall_sentence(fall, name, has_later=_has_later(engine, key)) if fall and fall.named else ""
    kappa = draws.parameters.kappa
    states = drift_quarters(draws.effects.get("drift", {})).get(key, ())
    level = draws.effect("seller", key)
    quarters = [
        Quarter(
            quarter=quarter_name(quarter),
            boxes=engine.counts.of_level("drift", (key, quarter))[0] if engine.counts else 0,
            time_ratio=ratio_quantiles(-(level + draws.effects["drift"][key, quarter]) / kappa),
        )
        for quarter in states
    ]
    if len(states) <= 1:
        text = f"Too few boxes to tell whether {name} changes: boxes from two quarters are needed."
        return Trend(
            quarters=quarters,
            change=None,
            chance_worse=None,
            drift_odds=None,
            fall=fall,
            verdict="maybe_worse" if fell else "too_few_boxes",
            text=fell or text,
        )
    first, last = states[0], states[-1]
    gap = draws.effects["drift"][key, last] - draws.effects["drift"][key, first]
    worse = float(np.mean(gap > 0))
    odds = drift_odds(gap, draws.parameters.scales["drift"], last - first)
    change = ratio_quantiles(-gap / kappa)
    n_boxes = sum(quarter.boxes for quarter in quarters)
    said = (
        f"plants sent in {quarter_name(last)} last {_times(change.p50)} times as long as those of "
        f"{quarter_name(first)}, 80 % {_times(change.p10)} to {_times(change.p90)}, from {n_boxes:,} boxes"
    )
    verdict = _verdict(n_boxes, worse, odds)
    text = f"{TEXTS[verdict].format(name=name, chance=f'{100 * worse:.0f} %')}: {said}."
    if fell:
        # What quarters say by themselves is beside it; it does not contradict.
        text = f"{fell} {text if verdict in WORSE else said[:1].upper() + said[1:] + '.'}"
        verdict = verdict if verdict in WORSE else "maybe_worse"
    return Trend(
        quarters=quarters,
        change=change,
        chance_worse=worse,
        drift_odds=odds,
        fall=fall,
        verdict=verdict,
        text=text,
    )


def told_fall(log_ratios: Sequence[float]) -> Fall | None:
    """Return the log likelihood ratio of a seller's newest boxes that says most, if any, as it is told."""
    if not log_ratios:
        return None
    most = float(np.log(MOST_ODDS))
    _, boxes, log_ratio, bound = max(
        (log_ratio - float(np.log(bound)), n, log_ratio, bound)
        for n, log_ratio, bound in zip(NEWEST, log_ratios, FALL_BOUNDS, strict=True)
    )
    likelier = float(np.exp(np.clip(log_ratio, -most, most)))
    return Fall(boxes=boxes, times_likelier=likelier, named=likelier > bound)


def fall_words(fall: Fall, name: str, *, has_later: bool = False) -> str:
    """Return how a seller's newest boxes came; `has_later`: it has boxes that the fit has not seen."""
    newest = "last box" if fall.boxes == 1 else f"last {fall.boxes} boxes"
    seen = " that the fit has seen" if has_later else ""
    return f"The {newest} of {name}{seen} came as if its plants now lasted half as long"


def _fall_sentence(fall: Fall, name: str, *, has_later: bool) -> str:
    times = f"over {MOST_SAID:,.0f}" if fall.times_likelier > MOST_SAID else f"{fall.times_likelier:,.0f}"
    return f"{fall_words(fall, name, has_later=has_later)}: {times} times likelier than that nothing changed."


def _has_later(engine: Engine, key: str) -> bool:
    """Whether answers take boxes of a seller into account that came after the fit."""
    return engine.update is not None and engine.update.in_use and key in engine.update.levels.get("seller", ())


def _verdict(n_boxes: int, worse: float, odds: float) -> Verdict:
    if n_boxes < FEW_BOXES:
        return "too_few_boxes"
    if worse >= SURE and odds > 1.0:
        return "worse"
    if worse >= CONSTANTS.trend_likely_chance:
        return "maybe_worse"
    return "better" if worse <= 1.0 - SURE and odds > 1.0 else "no_change_seen"


def _times(ratio: float) -> str:
    if ratio < SHOWN[0]:
        return f"under {SHOWN[0]}"
    return f"over {SHOWN[1]:.0f}" if ratio > SHOWN[1] else f"{ratio:.1f}"


def quarter_name(quarter: int) -> str:
    """Return a quarter (4 x year + quarter, the first being 0) in words."""
    return f"{quarter // 4} Q{quarter % 4 + 1}"


def drift_odds(gap: Array, prior_sd: Array, quarters_apart: int) -> float:
    """Return how many times likelier the boxes are with a change of drift than without one.

    Parameters
    ----------
    gap : (draws,)
        Posterior draws of latest less earliest drift.
    prior_sd : (draws,)
        The drift's sd, by the boxes of all sellers.
    quarters_apart : int
    """
    kernel = SILVERMAN * float(gap.std()) * len(gap) ** -0.2
    after = float(np.mean(_normal_density(gap, kernel)))
    sd = prior_sd * np.sqrt(2.0 * (1.0 - DRIFT_CORRELATION**quarters_apart))
    before = float(np.mean(_normal_density(0.0, np.hypot(sd, kernel))))
    return min(before / after, MOST_ODDS) if after > 0 else MOST_ODDS


def _normal_density(at: Array | float, sd: Array | float) -> Array:
    z = np.asarray(at) / sd
    density: Array = np.exp(-0.5 * z * z) / (np.sqrt(2.0 * np.pi) * sd)
    return density
