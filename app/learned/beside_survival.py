"""What own boxes taught beside the survival model: times in transit, late loss, and whether delay stands for more."""

import numpy as np

from app.batch import Lane, delay_of, learned_delay, percent, table_quantiles
from app.schemas import DelayedBoxes, LateLoss, LateLosses, LearnedTransit, ModelChance, Quantiles, TransitDays
from app.serving import Engine, LaneTimes, rules_draws
from model.predict import LateLossDraws
from model.reference import HIGH, LOW, Reference
from model.transit import HoldDelay, MissedFlights, TransitQuantiles


def transit_times(engine: Engine) -> list[LearnedTransit]:
    """Return the times of every lane with own boxes, and of a long lane without for each of their services."""
    return [_transit(lane, engine.reference) for lane in engine.times.lanes]


def times_left_out(engine: Engine) -> str | None:
    """Return how many boxes taught no times in transit since theirs look wrong, and what to do; None for none."""
    n = engine.fit.manifest.diagnostics.get("transit_boxes_left_out", 0) if engine.fit else 0
    if not n:
        return None
    boxes = (
        "1 box is left out of the learned times in transit: its times look"
        if n == 1
        else (f"{n:,} boxes are left out of the learned times in transit: their times look")
    )
    return f"{boxes} wrong. Confirm or correct the record; the next refit then takes it in."


def late_losses(engine: Engine) -> LateLosses:
    """Return the late loss at the chill doses of its rules of thumb, before and after the rechecks."""
    manifest = engine.fit.manifest if engine.fit else None
    boxes, plants = (manifest.n_rechecked_boxes, manifest.n_rechecked_plants) if manifest else (0, 0)
    before, after = rules_draws(engine.reference).late_loss, engine.draws.late_loss
    doses = sorted(rule.chill_dose_days for rule in engine.reference.late_loss_rules)
    shares = [
        LateLoss(chill_dose_days=dose, rules=_share(before, dose), learned=_share(after, dose) if boxes else None)
        for dose in doses
    ]
    return LateLosses(boxes=boxes, plants=plants, shares=shares)


def delayed_boxes(engine: Engine) -> DelayedBoxes | None:
    """Return kappa with and without the delayed boxes, where that was looked at."""
    check = engine.fit.manifest.delay_check if engine.fit else None
    if check is None:
        return None
    with_all, without = (Quantiles(p10=p10, p50=p50, p90=p90) for p10, p50, p90 in (check.kappa, check.without))
    return DelayedBoxes(left_out=check.n_left_out, kappa=with_all, kappa_without=without)


def _transit(own: LaneTimes, reference: Reference) -> LearnedTransit:
    service, origin, destination = own.key
    row = reference.services[service]
    if origin:
        table = Lane.by_codes(origin, destination, service, reference).usual_quantiles()
        where = f" {origin}-{destination}"
    else:
        table, where = table_quantiles(row), " on a long lane without own boxes"
    days, delay, by_table = own.quantiles, learned_delay(row, own), delay_of(row)
    return LearnedTransit(
        service=service,
        origin=origin or None,
        destination=destination or None,
        table=_days(table, by_table),
        learned=_days(days, delay),
        boxes=own.n_arrived,
        boxes_on_the_way=own.n_on_the_way,
        boxes_left_out=own.n_left_out,
        text=(
            f"{row.name}{where}: {days.p50:.1f} days, 80 % {days.p10:.1f}-{days.p90:.1f}, {own.from_boxes}; "
            f"the table says {table.p50:.1f}, 80 % {table.p10:.1f}-{table.p90:.1f}; "
            f"{_late_words(delay)}; the table says {_late_words(by_table)}"
        ),
    )


def _days(days: TransitQuantiles, delay: HoldDelay | MissedFlights) -> TransitDays:
    return TransitDays(p10=days.p10, p50=days.p50, p90=days.p90, delay_share=delay.share, delay_days=_delay_days(delay))


def _delay_days(delay: HoldDelay | MissedFlights) -> float:
    return delay.median_days if isinstance(delay, HoldDelay) else delay.interval_days


def _late_words(delay: HoldDelay | MissedFlights) -> str:
    if isinstance(delay, HoldDelay):
        return f"{percent(delay.share)} held up, by {delay.median_days:.1f} days as a rule"
    return (
        f"{percent(delay.share)} miss a flight, {percent(delay.again_share)} of these the next one too, "
        f"{delay.interval_days:.1f} days apart"
    )


def _share(draws: LateLossDraws, dose: float) -> ModelChance:
    chance = draws.chance(np.full(len(draws.intercept), dose))
    low, high = np.quantile(chance, [LOW, HIGH])
    return ModelChance(mean=chance.mean(), low=low, high=high)
