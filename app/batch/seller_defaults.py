"""What a seller's record says where a batch request says nothing."""

from collections.abc import Mapping
from typing import Any, Generic, NamedTuple, TypeVar

from app.records import seller_key
from app.schemas import Assumed, Batch, BuyersAnswers, Packing, UsualPacking
from app.store import Database, SellerDetails, SellerRecord, read_seller
from model.exposure import DEFAULT_WAIT_H

Asked = TypeVar("Asked", bound=Batch)

# Packs and their hours belong together: where a request gives one of them, the record gives none.
HEAT = ("heat_pack_hours", "heat_packs")
USUAL_PACKING = "how this seller usually packs, on record"


class Filled(NamedTuple, Generic[Asked]):
    """A batch request with what its seller's record says where it says nothing, and each value filled in."""

    request: Asked
    from_record: tuple[Assumed, ...]


def with_seller(batch: Asked, seller: SellerRecord | None) -> Filled[Asked]:
    """Return a batch filled in from its seller's record.

    A value that the request gives stands, also where it is the usual one. Without a record nothing changes.
    """
    if seller is None:
        return Filled(batch, ())
    details = seller.details
    changes: dict[str, Any] = {}
    assumed: list[Assumed] = []
    if details.kind is not None and batch.seller_kind is None:
        changes["seller_kind"] = details.kind
        assumed.append(Assumed(pointer="/seller_kind", value=details.kind, why="on record for this seller"))
    if packing := _packing(batch.packing, details):
        changes["packing"] = batch.packing.model_copy(update=packing)
        for name, value in packing.items():
            why = f"{USUAL_PACKING}; {DEFAULT_WAIT_H:g} h is usual" if name == "wait_hours" else USUAL_PACKING
            assumed.append(Assumed(pointer=f"/packing/{name}", value=value, why=why))
    if details.recourse is not None and "kind" not in batch.recourse.model_fields_set:
        changes["recourse"] = batch.recourse.model_copy(update={"kind": details.recourse})
        why = "what this seller gives for dead plants, on record"
        assumed.append(Assumed(pointer="/recourse/kind", value=details.recourse, why=why))
    return Filled(batch.model_copy(update=changes), tuple(assumed)) if changes else Filled(batch, ())


def _packing(asked: Packing, details: SellerDetails) -> dict[str, Any]:
    """Return what a request leaves out of its packing and the record says."""
    usual: Mapping[str, Any] = packing_of(details).model_dump(exclude_none=True)
    said = asked.model_fields_set
    dropped = set(said)
    if said & set(HEAT):
        dropped |= set(HEAT)
    if "container" in said and asked.container != usual.get("container"):
        # So many plants go into its own box, not into that of the request.
        dropped.add("capacity")
    taken = {name: value for name, value in usual.items() if name not in dropped}
    if taken.get("heat_pack_hours", 0) > 0:
        taken.setdefault("heat_packs", 1)
    wait_hours = answers_of(details).packed_before_pickup_hours
    if wait_hours is not None and asked.wait_hours is None:
        taken["wait_hours"] = wait_hours
    return taken


def packing_of(details: SellerDetails) -> UsualPacking:
    """Return a seller's usual packing."""
    return UsualPacking.model_validate_json(details.packing_json or "{}")


def answers_of(details: SellerDetails) -> BuyersAnswers:
    """Return what a seller answered."""
    return BuyersAnswers.model_validate_json(details.answers_json or "{}")


def stored_seller(database: Database, name: str | None) -> SellerRecord | None:
    """Return what is recorded of a seller, by any spelling of its name; None where there is nothing.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    # No name on record has a NUL, and one of the databases cannot be asked for one.
    if name is None or "\0" in name:
        return None
    return database.read(lambda connection: read_seller(connection, seller_key(name)))
