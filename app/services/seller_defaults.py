"""What a seller's record says where a batch request says nothing."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from app.schemas.answers import Assumed
from app.schemas.batch import Batch, Packing
from app.services.seller_questions import answers_of, packing_of
from app.store.seller_records import SellerRecord
from model.journey import DEFAULT_WAIT_H

Asked = TypeVar("Asked", bound=Batch)

# Packs and their hours belong together: where a request gives one of them, the record gives none.
HEAT = ("heat_pack_hours", "heat_packs")


@dataclass(frozen=True, slots=True)
class SellerKnown:
    """What was taken from a seller's record, and the wait of a packed box for its pick-up, hours."""

    assumed: tuple[Assumed, ...] = ()
    wait_h: float = DEFAULT_WAIT_H


NOTHING_KNOWN = SellerKnown()


def with_seller(batch: Asked, seller: SellerRecord | None) -> tuple[Asked, SellerKnown]:
    """Return a batch with what its seller's record says where it says nothing, and what was taken from there.

    A value that the request gives stands, also where it is the usual one. Without a record nothing changes.
    """
    if seller is None:
        return batch, NOTHING_KNOWN
    details = seller.details
    changes: dict[str, Any] = {}
    assumed: list[Assumed] = []
    if details.kind is not None and batch.seller_kind is None:
        changes["seller_kind"] = details.kind
        assumed.append(Assumed(pointer="/seller_kind", value=details.kind, why="on record for this seller"))
    if packing := _packing(batch.packing, packing_of(details).model_dump(exclude_none=True)):
        changes["packing"] = batch.packing.model_copy(update=packing)
        why = "how this seller usually packs, on record"
        assumed += [Assumed(pointer=f"/packing/{name}", value=value, why=why) for name, value in packing.items()]
    if details.recourse is not None and "kind" not in batch.recourse.model_fields_set:
        changes["recourse"] = batch.recourse.model_copy(update={"kind": details.recourse})
        why = "what this seller gives for dead plants, on record"
        assumed.append(Assumed(pointer="/recourse/kind", value=details.recourse, why=why))
    wait_h = answers_of(details).packed_before_pickup_hours
    if wait_h is not None:
        why = f"this seller packs {wait_h:g} h before pick-up, on record; {DEFAULT_WAIT_H:g} h is usual"
        assumed.append(Assumed(pointer="/seller", value=wait_h, why=why))
    if not assumed:
        return batch, NOTHING_KNOWN
    known = SellerKnown(tuple(assumed), DEFAULT_WAIT_H if wait_h is None else wait_h)
    return batch.model_copy(update=changes), known


def _packing(asked: Packing, usual: Mapping[str, Any]) -> dict[str, Any]:
    said = asked.model_fields_set
    if "container" in said and asked.container != usual.get("container"):
        # So many plants go into its own box, not into that of the request.
        usual = {name: value for name, value in usual.items() if name != "capacity"}
    taken = {name: value for name, value in usual.items() if name not in said and getattr(asked, name) != value}
    taken |= {name: usual[name] for name in ("container", "roots") if name in usual and name not in said}
    if said & set(HEAT):
        return {name: value for name, value in taken.items() if name not in HEAT}
    if taken.get("heat_pack_hours", 0) > 0 and "heat_packs" not in usual:
        taken["heat_packs"] = 1
    return taken
