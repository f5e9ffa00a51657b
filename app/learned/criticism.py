"""What a fit was asked about itself, in words: what looks odd, what is foreseen, what rests on boxes and what does not.

Words stand without statistics; the numbers are beside them.
"""

from calendar import month_name
from collections.abc import Sequence

from app.batch import boxes_words, listed
from app.learned.written import UNWRITTEN, WrittenNames
from app.schemas import CriticismAnswer, LeftOutAnswer, LeftOutBoxAnswer, PredictiveCheckAnswer, RestsOnAnswer
from app.serving import Criticism, Engine, LeftOutScores, PredictiveCheck, RestsOn
from model.reference import CONSTANTS
from model.scoring import EXTREME, is_extreme

# What is rarer is told as so rare: of the replicates about five lie beyond.
RAREST = 200
# Of a kind, in one sentence.
MOST_NAMED = 8


def criticism(engine: Engine, names: WrittenNames = UNWRITTEN) -> CriticismAnswer | None:
    """Return what the fit that answers was asked about itself; None without a fit, or one from before there was any."""
    found = engine.fit.manifest.criticism if engine.fit else None
    if found is None:
        return None
    checks = [_check(check, engine, names) for check in found.checks]
    left_out = None if found.left_out is None else _left_out(found.left_out)
    rests = [_rests(one, engine, names) for one in found.rests]
    text = [*_check_words(checks), *_left_out_words(left_out), *rest_words(rests), *_untold_words(found)]
    return CriticismAnswer(text=text, checks=checks, left_out=left_out, rests=rests)


def _check(check: PredictiveCheck, engine: Engine, names: WrittenNames) -> PredictiveCheckAnswer:
    label = "boxes with no survivor"
    if check.about == "season":
        first, last = (month_name[int(month)] for month in check.level.split("-"))
        label = f"boxes shipped from {first} to {last}"
    elif check.about == "seller":
        label = f"boxes from {names.label('seller', check.level, engine.reference)}"
    return PredictiveCheckAnswer(label=label, extreme=is_extreme(check.below), **check.model_dump(exclude={"level"}))


def _check_words(checks: Sequence[PredictiveCheckAnswer]) -> list[str]:
    if not checks:
        return []
    odd = [check for check in checks if check.extreme]
    looked = "one thing was" if len(checks) == 1 else f"{len(checks):,} things were"
    if not odd:
        return [
            f"Boxes with no survivor, seasons and sellers: {looked} looked at, and your boxes look as the model would "
            "have them."
        ]
    by_chance = f"{looked.capitalize()} looked at; by chance alone about 1 in {round(0.5 / EXTREME)} looks as odd."
    return [*(_odd_words(check) for check in odd), by_chance]


def _odd_words(check: PredictiveCheckAnswer) -> str:
    more = check.below > 0.5  # noqa: PLR2004 - the middle
    tail, many = min(check.below, 1.0 - check.below), "many" if more else "few"
    once = f"about once in {10 * round(0.1 / tail):,}" if tail * RAREST > 1.0 else f"not once in {RAREST:,}"
    if check.about == "no_survivor":
        how = "More" if more else "Fewer"
        return f"{how} boxes came with no survivor than the model would have: so {many} {once} times."
    how = "more" if more else "fewer"
    return f"Of {check.label} {how} plants came healthy than the model would have: so {many} {once} times."


def _left_out(scores: LeftOutScores) -> LeftOutAnswer:
    own = scores.model_dump(exclude={"by_box"})
    return LeftOutAnswer(**own, by_box=[LeftOutBoxAnswer(**box.model_dump()) for box in scores.by_box])


def _left_out_words(scores: LeftOutAnswer | None) -> list[str]:
    if scores is None or scores.standard_error is None:
        return []
    noise = CONSTANTS.gate_worse_errors * scores.standard_error
    how = "no better and no worse than the rules of thumb alone, as far as so few boxes tell"
    if abs(scores.difference) > noise:
        how = f"{'better' if scores.difference > 0 else 'worse'} than the rules of thumb alone, beyond noise"
    many = f"{scores.better:,} of {boxes_words(scores.boxes)} better"
    return [f"Each box foreseen from the others: {how} ({many})."]


def _rests(one: RestsOn, engine: Engine, names: WrittenNames) -> RestsOnAnswer:
    labels = {
        "healthy": f"the chance to arrive healthy after {one.level} days",
        "kappa": "how fast losses climb with days",
        "lost_whole": "how often a box is lost whole",
    }
    known = one.kind in labels
    counted = None if known or engine.counts is None else engine.counts.of_level(one.kind, one.level)[0]
    return RestsOnAnswer(
        label=labels[one.kind] if known else names.label(one.kind, one.level, engine.reference),
        boxes=counted,
        **one.model_dump(exclude={"level"}),
    )


# What boxes say where the prior pulls a quantity down, and where it pulls it up.
BETWEEN = "told is what lies between."
TORN = {
    "genus": ("longer", "less long", f"Your boxes say that {{names}} keep{{s}} {{word}} than by the tables; {BETWEEN}"),
    "seller": (
        "better",
        "worse",
        "Your boxes speak {word} of {names} than you are told: what sellers are usually like tempers it.",
    ),
    "healthy": ("better", "worse", f"Your boxes fared {{word}} than by the rules of thumb ({{names}}); {BETWEEN}"),
    "kappa": (
        "faster",
        "slower",
        f"In your boxes losses climb {{word}} with days than by rule of thumb; {BETWEEN}",
    ),
    "lost_whole": ("More", "Fewer", f"{{word}} of your boxes were lost whole than by the rules of thumb; {BETWEEN}"),
}
RULES = {
    "genus": "What you are told of {names} rests on the tables rather than on your {boxes}.",
    "seller": "What you are told of {names} rests on what sellers are usually like rather than on your {boxes}.",
    "healthy": "On the rules of thumb rather than on your boxes: {names}.",
    "kappa": "How fast losses climb with days rests on the rules of thumb rather than on your boxes.",
    "lost_whole": "How often a box is lost whole rests on the rules of thumb rather than on your boxes.",
}


def rest_words(rests: Sequence[RestsOnAnswer]) -> list[str]:
    """Return which answers rest on what, a sentence for each kind and case."""
    said = []

    def say(text: str, word: str, own: Sequence[RestsOnAnswer]) -> None:
        if own:
            s = "s" if len(own) == 1 else ""
            said.append(text.format(names=_named(own), boxes=_boxes(own), word=word, s=s))

    for kind, text in RULES.items():
        say(text, "", [one for one in rests if (one.kind, one.on) == (kind, "rules")])
    for kind, (up, down, text) in TORN.items():
        torn = [one for one in rests if (one.kind, one.on) == (kind, "conflict")]
        say(text, up, [one for one in torn if one.prior_shift < 0])
        say(text, down, [one for one in torn if one.prior_shift > 0])
    say("Your boxes decide: {names}.", "", [one for one in rests if one.on == "boxes"])
    return said


def _boxes(own: Sequence[RestsOnAnswer]) -> str:
    """Return of how many boxes, where one is named, else that they are boxes: their numbers stand at the names."""
    return boxes_words(own[0].boxes) if len(own) == 1 and own[0].boxes else "boxes"


def _named(own: Sequence[RestsOnAnswer]) -> str:
    if len(own) == 1:
        return own[0].label
    order = sorted(own, key=lambda one: (-(one.boxes or 0), one.label))
    labels = [f"{one.label} ({boxes_words(one.boxes)})" if one.boxes else one.label for one in order[:MOST_NAMED]]
    rest = len(order) - MOST_NAMED
    return listed([*labels, f"{rest:,} more"] if rest > 0 else labels)


def _untold_words(found: Criticism) -> list[str]:
    if found.rests:
        return []
    return ["What rests on your boxes and what on the rules of thumb cannot be told: too few of the draws would count."]
