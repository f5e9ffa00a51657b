"""Names as the ledger's owner writes them, for levels of the model that go by a key."""

from collections import Counter
from typing import NamedTuple

from app.batch import group_words, resolve_genus
from app.serving import Engine
from app.store import Database, arrived_plants, list_sellers
from model.plant import Plant
from model.reference import Reference


class WrittenNames(NamedTuple):
    """Names by level: sellers as recorded, genera as typed most often, cultivars with their genus as typed."""

    sellers: dict[str, str]
    genera: dict[str, str]
    cultivars: dict[str, str]

    def label(self, kind: str, level: str, reference: Reference) -> str:
        """Return what people call a level; a genus as typed stands before its accepted name where they differ."""
        if kind == "genus":
            typed = self.genera.get(level, level)
            return level if typed.casefold() == level.casefold() else f"{typed} ({level})"
        if kind in ("cultivar", "seller"):
            return (self.cultivars if kind == "cultivar" else self.sellers).get(level, level)
        if kind in ("container", "roots"):
            return (reference.containers[level] if kind == "container" else reference.roots[level]).name
        if kind == "service":
            return reference.services[level].name
        return group_words(level)


UNWRITTEN = WrittenNames({}, {}, {})


def written_names(database: Database, engine: Engine) -> WrittenNames:
    """Return the names of the ledger's sellers and of the plants in its arrived boxes.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    if database.absent:
        return UNWRITTEN
    with database.reading() as connection:
        sellers = {record.key: record.details.name for record in list_sellers(connection)}
        plants = arrived_plants(connection)
    genera: Counter[tuple[str, str]] = Counter()
    cultivars: Counter[tuple[str, str]] = Counter()
    for plant in plants:
        genus = resolve_genus(plant.genus, engine.reference)[0]
        if genus is None:
            continue
        typed = " ".join(plant.genus.split())
        genera[genus.genus, typed] += plant.lines
        if plant.cultivar:
            level = Plant(genus, plant.cultivar).cultivar_level
            cultivars[level, f"{typed} {plant.cultivar}"] += plant.lines
    return WrittenNames(sellers, _most_used(genera), _most_used(cultivars))


def _most_used(counted: Counter[tuple[str, str]]) -> dict[str, str]:
    """Return the spelling of each level that most lines have; of equals the first by alphabet."""
    order = sorted(counted, key=lambda pair: (counted[pair], [-ord(letter) for letter in pair[1]]))
    return dict(order)
