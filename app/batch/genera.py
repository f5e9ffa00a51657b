"""Genera by name: accepted names, old names, and unknown plants with the nearest spelling."""

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
