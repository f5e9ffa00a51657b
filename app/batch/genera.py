"""Genera by name: accepted names, old names, and unknown plants with the nearest spelling."""

from collections.abc import Iterable
from functools import lru_cache

from app.batch.cautions import caution
from app.schemas import Caution
from model.reference import Genus, Reference


@lru_cache(maxsize=4096)
def resolve_genus(name: str, reference: Reference) -> tuple[Genus | None, tuple[Caution, ...]]:
    """Return the genus of a name, None for an unknown plant, and what to say about it."""
    genus, nearest = reference.find_genus(name)
    if genus is None:
        return None, (caution("unknown_genus", genus=name, nearest=nearest),)
    if genus.genus.casefold() != " ".join(name.casefold().split()):
        return genus, (caution("old_name", genus=name, accepted=genus.genus),)
    return genus, ()


def unpacking_cautions(genera: Iterable[Genus | None]) -> list[Caution]:
    """Return what to keep in mind at unpacking, which always applies; the genera whose sap irritates are named."""
    irritant = dict.fromkeys(genus.genus for genus in genera if genus is not None and genus.irritant_sap)
    sap = [caution("irritant_sap", genera=", ".join(irritant))] if irritant else []
    return [caution("late_damage"), caution("residues"), *sap, caution("isolate")]
