"""What to do about a plant, a packing or a service whose boxes keep clearly longer or less long than others."""

from app.batch import boxes_words
from app.lessons.words import ratio_words
from app.schemas import Effect, Lesson, LessonAbout, LessonCode
from model.reference import CONSTANTS, REFERENCE_CONTAINER, REFERENCE_ROOTS, Reference

# What is compared with, and what follows where less long and where longer.
PLANTS: dict[LessonAbout, str] = {
    "genus": "an average aroid packed alike",
    "cultivar": "an average cultivar of its genus",
}
FASTER = "order it only by the faster way, or packed better"
SLOWER = "the slower way will do for it"


def effect_lessons(effect: Effect, reference: Reference) -> list[Lesson]:
    """Return what to do about a level; nothing where its boxes are too few or its 80 % interval holds 1."""
    boxes, ratio = effect.evidence.boxes, effect.time_ratio
    less, longer = ratio.p90 < 1.0, ratio.p10 > 1.0
    # A slower way risks the plants, so it takes as much as it takes to overrule the table.
    slower = ratio.p10 > CONSTANTS.row_given_up_ratio
    if boxes < CONSTANTS.few_boxes:
        return []
    behind = f"from {boxes_words(boxes)}"
    how, label = ratio_words(ratio.p50), effect.label
    found: list[Lesson] = []

    def add(about: LessonAbout, code: LessonCode, text: str) -> None:
        found.append(Lesson(about=about, label=label, code=code, boxes=boxes, text=text))

    if less or longer:
        if effect.kind in ("genus", "cultivar") and (less or slower):
            about: LessonAbout = "genus" if effect.kind == "genus" else "cultivar"
            keep = f"{label} keeps {how} {PLANTS[about]}"
            add(about, "faster_way" if less else "slower_way", f"{keep}: {FASTER if less else SLOWER}; {behind}.")
        elif effect.kind == "container":
            box = reference.containers[REFERENCE_CONTAINER].name
            do = f"ask for a {box}" if less else "ask for it"
            text = f"Plants in a {label} keep {how} those in a {box}: {do}; {behind}."
            add("container", "ask_for_other" if less else "ask_for_it", text)
        elif effect.kind == "roots":
            wrap = reference.roots[REFERENCE_ROOTS].name
            do = f"ask for {wrap}" if less else "ask for it"
            text = f"Plants sent with {label} keep {how} those with {wrap}: {do}; {behind}."
            add("roots", "ask_for_other" if less else "ask_for_it", text)
        elif effect.kind == "service":
            do = "take another where days and price are alike" if less else "take it where days and price are alike"
            text = f"Plants by {label} keep {how} those by others that are as long on the way: {do}; {behind}."
            add("service", "ask_for_other" if less else "ask_for_it", text)
    if effect.beyond_table is not None and effect.kind in ("genus", "container", "roots"):
        table = f"{label}: your boxes overrule the table"
        text = f"{table}, {ratio_words(effect.beyond_table.p50)} it says; answers follow your boxes; {behind}."
        add(_about(effect.kind), "table_overruled", text)
    return found


def _about(kind: str) -> LessonAbout:
    return "genus" if kind == "genus" else "container" if kind == "container" else "roots"
