"""What own boxes teach, as things to do: told from five boxes on, with names as they were typed."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import update

from app.boxes import answer_shipment
from app.learned.written import written_names
from app.lessons.effects import effect_lessons
from app.lessons.lessons import answer_lessons
from app.lessons.words import ratio_words
from app.schemas import Effect, EffectEvidence, Quantiles
from app.schemas.track_record import RangesHeld
from app.store.database import Database
from app.store.schema import shipments
from app.track_record.findings import Expected, findings
from tests.app.batches import engine
from tests.app.fits import fill
from tests.app.ledger_files import csv_bytes, row

REFERENCE = engine().reference
NONE_HELD = RangesHeld(n=0, held=0, expected=0, below=0, above=0, chance_fewer=1, chance_more=1)


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (0.5, "about half as long as"),
        (0.69, "about two thirds as long as"),
        (1.02, "about as long as"),
        (1.96, "about twice as long as"),
        (0.02, "less than a tenth as long as"),
        (40.0, "more than five times as long as"),
    ],
)
def test_ratios_are_said_as_fractions(ratio: float, words: str) -> None:
    assert ratio_words(ratio) == words


def effect(kind: str, label: str, low: float, high: float, boxes: int, *, beyond: float | None = None) -> Effect:
    """Return an effect with a time ratio of that 80 % interval."""
    ratio = Quantiles(p10=low, p50=(low * high) ** 0.5, p90=high)
    table = None if beyond is None else Quantiles(p10=beyond, p50=beyond, p90=beyond)
    evidence = EffectEvidence(boxes=boxes, plants=20 * boxes)
    return Effect(
        kind=kind, name=label, label=label, time_ratio=ratio, evidence=evidence, beyond_table=table, text=label
    )


def test_plants_and_packings_are_told_only_where_boxes_say_so() -> None:
    def told(*args: object, **kwargs: float) -> list[str]:
        return [lesson.text for lesson in effect_lessons(effect(*args, **kwargs), REFERENCE)]  # type: ignore[arg-type]

    assert told("genus", "Begonia", 0.4, 0.6, 9) == [
        "Begonia keeps about half as long as an average aroid packed alike: order it only by the faster way, or packed "
        "better; from 9 boxes."
    ]
    assert told("genus", "Begonia", 0.4, 0.6, 4) == []  # too few boxes
    assert told("genus", "Begonia", 0.8, 1.2, 9) == []  # the interval holds 1
    assert told("genus", "Philodendron", 1.03, 1.39, 9) == []  # perhaps too little longer to risk the slower way
    assert told("genus", "Philodendron", 1.3, 1.8, 9) == [
        "Philodendron keeps about half as long again as an average aroid packed alike: the slower way will do for it; "
        "from 9 boxes."
    ]
    assert told("genus", "Begonia", 0.8, 1.2, 9, beyond=2.0) == [
        "Begonia: your boxes overrule the table, about twice as long as it says; answers follow your boxes; "
        "from 9 boxes."
    ]


def test_lessons_name_sellers_plants_and_lost_boxes_as_they_were_typed(tmp_path: Path) -> None:
    """Two boxes are too few to say anything of; one is said, by hand, to have been lost whole with 60 % chance."""
    with Database(f"sqlite:///{tmp_path / 'ledger.db'}") as database:
        few = [row(shipment=name, seller="Jardín Ficticio", genus="Pothos") for name in "AB"]
        enough = [row(shipment=name, seller="Invented Ferns") for name in "CDEFG"]
        fill(database, csv_bytes(*few, *enough))
        with database.writing() as connection:
            looked_at = {"lost_chance": 0.6, "checked_revision": shipments.c.corrected_revision}
            connection.execute(update(shipments).where(shipments.c.reference == "A").values(looked_at))
        names = written_names(database, engine())
        said = answer_lessons(database, engine())
        [lost] = said.lost
        now = datetime(2027, 12, 1, tzinfo=UTC)
        box = json.loads(answer_shipment(database, lost.id, REFERENCE, now).body)["arrival"]
    assert names.label("genus", "Epipremnum", REFERENCE) == "Pothos (Epipremnum)"
    assert names.label("genus", "Hoya", REFERENCE) == "Hoya"
    assert names.label("group", "prayer_plant", REFERENCE) == "prayer plants"
    assert said.lessons == []
    assert said.undecided == [
        "Too few boxes to say anything (fewer than 5): Jardín Ficticio (2 boxes).",
        "Not yet learned from: Invented Ferns (0 of 5 boxes).",
    ]
    assert (lost.shipment, lost.chance) == ("A", 0.6)
    assert lost.text.startswith("A was lost whole with 60 % chance: ")
    assert box["lost_whole_text"] == lost.text.replace("A was", "This box was", 1)


@pytest.mark.parametrize(
    ("n", "found", "state", "words"),
    [
        (9, (5, 5), "unclear", "Of 90 plants the forecasts expected 72 healthy, and 45 were: too few boxes to judge"),
        (
            20,
            (5, 6),
            "wrong",
            "Of 200 plants the forecasts expected 160 healthy, and 110 were: too hopeful, and",
        ),
        (20, (7, 9), "right", "Of 200 plants the forecasts expected 160 healthy, and 160 were: about right."),
    ],
)
def test_what_the_forecasts_got_right_and_wrong(n: int, found: tuple[int, int], state: str, words: str) -> None:
    """Boxes of ten plants, of which 8 were expected and one of two numbers found in turn."""
    boxes = [Expected(8.0, found[i % 2], 10) for i in range(n)]
    (said,) = findings(boxes, NONE_HELD, NONE_HELD, None, [], REFERENCE)
    assert said.state == state
    assert said.text.startswith(words)
