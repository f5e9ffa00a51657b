"""Values that a batch request leaves out: what is taken instead, and why; costs that are not counted."""

from collections.abc import Sequence
from datetime import date, timedelta

from app.batch.plans import RoutePlan
from app.batch.words import CLAIM_WINDOWS
from app.batch.working_days import WEEKDAYS, holidays_source
from app.schemas import Assumed, Batch, NotCounted, UsualCost
from model.reference import Reference

# Costs of the whole batch in the order in which they are named.
COSTS = {
    "phyto": "certificate",
    "permit": "permit",
    "duty_rate": "duty",
    "tax_rate": "tax",
    "other": "other costs",
}
# What a usual cost is said in where the request's currency has no row of its own.
CURRENCY = "EUR"

# What counts once a refund or replacement is asked for.
RECOURSE = {
    "chance": "chance that a claim is honoured (judgement, from memory)",
    "claim_window_hours": f"the most common window of a sample of published policies, {CLAIM_WINDOWS}",
}


def costs_of(batch: Batch) -> dict[str, float]:
    """Return the costs of the batch as they enter a landed cost; one that is not given is not counted."""
    return {name: getattr(batch.costs, name) or 0.0 for name in (*COSTS, "tax_reclaimed_share")}


def costs_left_out(batch: Batch, reference: Reference) -> list[NotCounted]:
    """Return the costs of the batch that were not given, each with what is usual, if known."""
    return [
        NotCounted(pointer=f"/costs/{name}", text=word, usual=_usual(name, batch.currency, reference))
        for name, word in COSTS.items()
        if getattr(batch.costs, name) is None
    ]


def _usual(cost: str, currency: str, reference: Reference) -> UsualCost | None:
    row = reference.costs.get(f"{cost}/{currency}") or reference.costs.get(f"{cost}/{CURRENCY}")
    return None if row is None else UsualCost(low=row.low, high=row.high, currency=row.currency)


def _border(batch: Batch) -> list[Assumed]:
    """Return what duty and tax are taken as, where there are any."""
    costs, assumed = batch.costs, []
    if costs.dutiable is None and (costs.duty_rate or costs.tax_rate):
        why = "not given: duty and tax on the plants only"
        assumed.append(Assumed(pointer="/costs/dutiable", value="plants", why=why))
    if costs.tax_reclaimed_share is None and costs.tax_rate:
        why = "not given: none of the tax comes back"
        assumed.append(Assumed(pointer="/costs/tax_reclaimed_share", value=0.0, why=why))
    return assumed


def unsaid(batch: Batch) -> list[Assumed]:
    """Return the other defaults that bear on money or on the choice."""
    said = batch.model_fields_set
    assumed = _border(batch)
    if "currency" not in said:
        assumed.append(Assumed(pointer="/currency", value=batch.currency, why="not given; a label only"))
    if "damaged_value_share" not in said:
        why = "not given: what a damaged plant brings after rehabilitation (judgement, from memory)"
        assumed.append(Assumed(pointer="/damaged_value_share", value=batch.damaged_value_share, why=why))
    if "kind" not in batch.recourse.model_fields_set:
        why = "not given: nothing is counted on for dead plants"
        assumed.append(Assumed(pointer="/recourse/kind", value=batch.recourse.kind, why=why))
    elif batch.recourse.kind != "none":
        for name, why in RECOURSE.items():
            if name not in batch.recourse.model_fields_set:
                value = getattr(batch.recourse, name)
                assumed.append(Assumed(pointer=f"/recourse/{name}", value=value, why=f"not given: {why}"))
    for name in ("max_loss_share", "confidence"):
        if name not in batch.risk.model_fields_set:
            assumed.append(Assumed(pointer=f"/risk/{name}", value=getattr(batch.risk, name), why="not given"))
    for name in ("container", "roots"):
        if name not in batch.packing.model_fields_set:
            why = "not given: the reference packing of the rules of thumb"
            assumed.append(Assumed(pointer=f"/packing/{name}", value=getattr(batch.packing, name), why=why))
    return assumed


def days_not_worked(plans: Sequence[RoutePlan], first: date, last: date, most_days: float) -> list[Assumed]:
    """Return the days on which the services of a batch are taken to rest, that a box may meet.

    Parameters
    ----------
    plans : sequence of RoutePlan
        Of one batch, so between the same ends.
    first, last : date
        On which its boxes are closed.
    most_days : float
        For how long they may travel.
    """
    assumed = []
    destination = plans[0].lane.places["destination"]
    until = last + timedelta(days=int(most_days) + 1)
    if resting := {
        plan.lane.service.service: plan.calendar.destination
        for plan in plans
        if plan.calendar.destination.rests_at_weekends(first, until)
    }:
        weekend = next(iter(resting.values())).weekend
        why = (
            f"{', '.join(resting)}: nothing is handed over in {destination.country} on these weekdays, and a box that "
            "would be opened then waits; list a day in open_dates that is worked"
        )
        assumed.append(
            Assumed(pointer="/open_dates", value=", ".join(WEEKDAYS[day] for day in sorted(weekend)), why=why)
        )
    rests: dict[tuple[date, str], tuple[str, str]] = {}
    for plan in plans:
        ends = [(plan.calendar.origin, last, "closed"), (plan.calendar.destination, until, "opened")]
        if plan.calendar.hub is not None:
            ends.append((plan.calendar.hub, until, "moved on from its hub"))
        for days, to, what in ends:
            for day, name in days.named(first, to):
                rests.setdefault((day, days.country), (name, what))
    for (day, country), (name, what) in sorted(rests.items()):
        why = (
            f"{name} in {country} ({holidays_source()}): no box is {what} that day; list it in open_dates if it is "
            "worked, or set public_holidays to false"
        )
        assumed.append(Assumed(pointer="/public_holidays", value=day.isoformat(), why=why))
    return assumed
