"""Values that a batch request leaves out: what is taken instead, and why."""

from app.batch.words import CLAIM_WINDOWS
from app.schemas import Assumed, Batch
from model.reference import Reference

# Costs with a rule of thumb are looked up in the request's currency; the others are 0 unless given.
COSTS = ("phyto", "permit", "other", "duty_rate", "tax_rate", "tax_reclaimed_share")

# What counts once a refund or replacement is asked for.
RECOURSE = {
    "chance": "chance that a claim is honoured (judgement, from memory)",
    "claim_window_hours": f"the most common window of a sample of published policies, {CLAIM_WINDOWS}",
}


def costs_of(batch: Batch, reference: Reference) -> tuple[dict[str, float], list[Assumed]]:
    """Return the costs of the batch, given or assumed, and the assumed ones."""
    costs, assumed = {}, []
    for name in COSTS:
        given = getattr(batch.costs, name)
        if given is not None:
            costs[name] = given
            continue
        rule = reference.costs.get(f"{name}/{batch.currency}")
        costs[name] = rule.value if rule else 0.0
        why = f"{rule.source} ({rule.status})" if rule else "not given and no usual value: taken as 0"
        assumed.append(Assumed(pointer=f"/costs/{name}", value=costs[name], why=why))
    if batch.costs.dutiable is None:
        assumed.append(Assumed(pointer="/costs/dutiable", value="plants", why="not given: duty on the plants only"))
    return costs, assumed


def unsaid(batch: Batch) -> list[Assumed]:
    """Return the other defaults that bear on money or on the choice."""
    said = batch.model_fields_set
    assumed = []
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
