"""Lessons of the whole ledger: what to do with whom, of what nothing can be said yet, which boxes were perhaps lost."""

from collections.abc import Sequence

from app.batch import boxes_words, lost_whole_words
from app.learned import effects, written_names
from app.lessons.effects import effect_lessons
from app.lessons.sellers import same_boxes, seller_lessons, undecided_sellers, waiting_words
from app.schemas import Lesson, LessonCode, LessonsAnswer, LostBox
from app.sellers import answer_sellers
from app.serving import Engine
from app.store import Database, maybe_lost
from model.reference import CONSTANTS

# Boxes and names that are listed.
MOST_LOST = 20
MOST_NAMED = 8
ORDER: tuple[LessonCode, ...] = (
    "renegotiate_or_stop", "getting_worse", "agree_on_claims", "ask_for_speed", "faster_way", "ask_for_other",
    "table_overruled", "keep_buying", "ask_for_it", "slower_way",
)  # fmt: skip


def answer_lessons(database: Database, engine: Engine) -> LessonsAnswer:
    """Return what to do, the most pressing first; all rests on the active model and on what the ledger counted.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    sellers = answer_sellers(database, engine).items
    of_sellers = [lesson for seller in sellers for lesson in seller_lessons(seller)]
    known = [] if engine.counts is None else effects(engine, written_names(database, engine))
    own = [effect for effect in known if effect.evidence.boxes and effect.kind != "seller"]
    found = of_sellers + [lesson for effect in own for lesson in effect_lessons(effect, engine.reference)]
    undecided, waiting = undecided_sellers(sellers, of_sellers), waiting_words(sellers)
    told = {(lesson.about, lesson.label) for lesson in found}
    undecided += [
        (effect.label, effect.evidence.boxes)
        for effect in own
        if effect.kind == "genus" and ("genus", effect.label) not in told
    ]
    least = CONSTANTS.lost_worth_saying
    lost = database.read(lambda connection: maybe_lost(connection, least=least, limit=MOST_LOST)) or []
    return LessonsAnswer(
        model_version=engine.model_version,
        boxes=engine.fit.counts.n_boxes if engine.fit else 0,
        lessons=sorted(found, key=_urgency),
        undecided=[*_undecided(undecided), *waiting, *same_boxes(sellers, engine)],
        lost=[
            LostBox(id=box.id, shipment=box.shipment, chance=box.chance, text=said)
            for box in lost
            if (said := lost_whole_words(box.shipment, box.chance)) is not None
        ],
    )


def _urgency(lesson: Lesson) -> tuple[int, int, str]:
    return ORDER.index(lesson.code), -lesson.boxes, lesson.label


def _undecided(names: Sequence[tuple[str, int]]) -> list[str]:
    """Return of which names nothing can be said, apart where boxes are too few for it."""
    least = CONSTANTS.few_boxes
    thin = [pair for pair in names if pair[1] < least]
    alike = [pair for pair in names if pair[1] >= least]
    said = []
    if alike:
        said.append(f"No clear difference from others: {_named(alike)}.")
    if thin:
        said.append(f"Too few boxes to say anything (fewer than {least:g}): {_named(thin)}.")
    return said


def _named(pairs: Sequence[tuple[str, int]]) -> str:
    most = sorted(pairs, key=lambda pair: (-pair[1], pair[0]))
    named = [f"{name} ({boxes_words(n)})" for name, n in most[:MOST_NAMED]]
    rest = len(most) - MOST_NAMED
    return ", ".join([*named, f"and {rest:,} more"] if rest > 0 else named)
