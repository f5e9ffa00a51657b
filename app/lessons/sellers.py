"""What to do with each seller, by how long its plants keep, whether that changes, how late it is and how claims end."""

from collections.abc import Sequence

from app.batch import boxes_words, group_words
from app.lessons.words import ratio_words
from app.schemas import Lesson, LessonCode, SellerAnswer, ShrunkShare
from app.sellers import fall_words
from app.serving import Engine
from model.reference import CONSTANTS


def seller_lessons(seller: SellerAnswer) -> list[Lesson]:
    """Return what to do with a seller; nothing where its boxes are too few or like those of others."""
    found: list[Lesson] = []

    def add(code: LessonCode, text: str, boxes: int) -> None:
        found.append(Lesson(about="seller", label=seller.name, code=code, boxes=boxes, text=text))

    ratio, boxes = seller.time_ratio, seller.boxes
    if boxes >= CONSTANTS.few_boxes:
        behind = f"from {boxes_words(boxes)}"
        keep = f"Plants from {seller.name} last {ratio_words(ratio.p50)} those from an average seller of its kind"
        fall = seller.trend.fall
        if seller.trend.verdict == "worse":
            text = f"{seller.name} gets worse: ask what changed before you order again; {behind}."
            add("getting_worse", text, boxes)
        elif fall is not None and fall.named:
            text = f"{fall_words(fall, seller.name)}: ask what changed before you order again; {behind}."
            add("getting_worse", text, boxes)
        if ratio.p90 < 1.0:
            add("renegotiate_or_stop", f"{keep}: renegotiate the packing, or stop; {behind}.", boxes)
        elif ratio.p10 > 1.0:
            add("keep_buying", f"{keep}: keep buying there; {behind}.", boxes)
    if _is_more(seller.late, seller.recorded_boxes):
        late = f"{seller.late.counted:,} of {boxes_words(seller.late.of)} from {seller.name} came late"
        add("ask_for_speed", f"{late}: ask for an earlier pick-up, or take another service.", seller.late.of)
    honoured = seller.claims.honoured
    if honoured.of >= CONSTANTS.few_boxes and honoured.high < honoured.average:
        kept = f"{seller.name} honoured {honoured.counted:,} of {honoured.of:,} claims"
        add("agree_on_claims", f"{kept}: agree in writing on what is paid before you order again.", honoured.of)
    return found


def _is_more(share: ShrunkShare, boxes: int) -> bool:
    return boxes >= CONSTANTS.few_boxes and share.low > share.average


def undecided_sellers(sellers: Sequence[SellerAnswer], told: Sequence[Lesson]) -> list[tuple[str, int]]:
    """Return the name and boxes of each seller with boxes of which nothing is told, though it is learned from."""
    named = {lesson.label for lesson in told}
    return [
        (seller.name, max(seller.boxes, seller.recorded_boxes))
        for seller in sellers
        if seller.name not in named and (seller.boxes or seller.recorded_boxes) and not _is_waiting(seller)
    ]


def _is_waiting(seller: SellerAnswer) -> bool:
    """Whether its boxes are enough to say something, and too few of them are learned from."""
    return seller.boxes < CONSTANTS.few_boxes <= seller.recorded_boxes


def waiting_words(sellers: Sequence[SellerAnswer]) -> list[str]:
    """Return in one sentence whose boxes are to be learned from before anything can be said."""
    named = [
        f"{seller.name} ({seller.boxes:,} of {boxes_words(seller.recorded_boxes)})"
        for seller in sellers
        if _is_waiting(seller)
    ]
    return [f"Not yet learned from: {', '.join(named)}."] if named else []


def same_boxes(sellers: Sequence[SellerAnswer], engine: Engine) -> list[str]:
    """Return for each kind with one seller in its boxes that the two cannot be told apart."""
    said = []
    for seller in sellers:
        if engine.counts is None or seller.kind is None or seller.boxes < CONSTANTS.few_boxes:
            continue
        if engine.counts.of_level("seller_kind", seller.kind)[0] == seller.boxes:
            kind = f"sellers of the kind {group_words(seller.kind)}"
            said.append(
                f"All boxes from {kind} are from {seller.name}: what is said of the one may be due to the other, and "
                "they cannot be told apart."
            )
    return said
