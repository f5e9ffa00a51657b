"""Effects as time ratios in plain words, with the boxes behind them.

    time ratio = TR0 x exp(-deviation / kappa)

TR0 is the tables' ratio. It has no mean, so quantiles are given; it holds at 20 °C, above chilling. Where the whole
80 % interval lies well beyond TR0 the row of the table is told to be overruled.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.learned.written import UNWRITTEN, WrittenNames
from app.schemas import Effect, EffectEvidence, Quantiles
from app.serving import Engine
from model.plant import Plant, log_time_ratio
from model.predict import BoxCounts
from model.reference import CONSTANTS, QUANTILES, REFERENCE_CONTAINER, REFERENCE_ROOTS

Array = NDArray[np.float64]

MOST_LOG_RATIO = 700.0
# Kinds whose levels have a row with a time ratio in the tables.
TABULATED = {"genus", "container", "roots", "seller_kind"}


def effects(engine: Engine, names: WrittenNames = UNWRITTEN) -> list[Effect]:
    """Return all genera of the tables, then every other level with boxes; `names` are as the owner writes them."""
    found = [genus_effect(engine, name, names) for name in engine.reference.genera]
    if engine.counts is None:
        return found
    counts, reference = engine.counts, engine.reference

    def add(kind: str, level: str, ratio: float, text: str) -> None:
        label = names.label(kind, level, reference)
        found.append(_effect(engine, _Called(kind, level, label), ratio, text.replace("{label}", label)))

    for level in _named(counts, "group"):
        # The tables' ratios of the genera are beside it, so that it says nothing of one of them.
        add("group", level, 1.0, "{label} as a group keep {} the tables say of their genera")
    for level in _named(counts, "cultivar"):
        if level not in reference.genera:
            add("cultivar", level, 1.0, "{label} keeps {} an average cultivar of its genus")
    box, wrap = reference.containers[REFERENCE_CONTAINER].name, reference.roots[REFERENCE_ROOTS].name
    for level in _named(counts, "container"):
        ratio = reference.containers[level].time_ratio
        add("container", level, ratio, f"Plants in a {{label}} keep {{}} those in a {box}")
    for level in _named(counts, "roots"):
        ratio = reference.roots[level].time_ratio
        add("roots", level, ratio, f"Plants sent with {{label}} keep {{}} those with {wrap}")
    for level in _named(counts, "seller_kind"):
        text = "Plants from sellers of the kind {label} keep {} those from a seller whose kind is not known"
        add("seller_kind", level, reference.seller_kinds[level].time_ratio, text)
    for level in _named(counts, "service"):
        add("service", level, 1.0, "Plants by {label} keep {} those by an average service, as long on the way")
    for level in _named(counts, "seller"):
        found.append(seller_effect(engine, level, names.label("seller", level, reference)))
    return found


def genus_effect(engine: Engine, name: str, names: WrittenNames = UNWRITTEN) -> Effect:
    """Return a genus against an average aroid packed alike; the average of its group deviates with it."""
    draws, plant = engine.draws, Plant(engine.reference.genera[name])
    deviation = draws.effect("genus", plant.genus_level)
    if plant.group_level is not None:
        deviation = deviation + draws.effect("group", plant.group_level)
    table = log_time_ratio(plant, engine.reference)
    label = names.label("genus", name, engine.reference)
    text = f"{label} lasts {{}} an average aroid"
    return _told(engine, _Called("genus", name, label), table, -deviation / draws.parameters.kappa, text)


def seller_effect(engine: Engine, level: str, name: str) -> Effect:
    """Return a seller in its latest quarter with boxes against an average one of its kind."""
    draws = engine.draws
    deviation = draws.effect("seller", level) + draws.drift(level, None)
    text = f"Plants from {name} last {{}} those from an average seller of its kind"
    return _told(engine, _Called("seller", level, name), 0.0, -deviation / draws.parameters.kappa, text)


def quantiles(values: Array) -> Quantiles:
    """Return median and 80 % interval of draws."""
    p10, p50, p90 = np.quantile(values, QUANTILES)
    return Quantiles(p10=p10, p50=p50, p90=p90)


def ratio_quantiles(log_ratio: Array) -> Quantiles:
    """Return median and 80 % interval of a time ratio.

    Where boxes say that time hardly matters kappa is near 0 and a ratio can be any number: it is shown up to e^700,
    which stands for more than any time.
    """
    p10, p50, p90 = np.exp(np.clip(np.quantile(log_ratio, QUANTILES), -MOST_LOG_RATIO, MOST_LOG_RATIO))
    return Quantiles(p10=p10, p50=p50, p90=p90)


def _named(counts: BoxCounts, kind: str) -> list[str]:
    return [str(level) for level in counts.levels[kind] if level]


class _Called(NamedTuple):
    """A level by its kind and key, and what people call it."""

    kind: str
    level: str
    label: str


def _effect(engine: Engine, called: _Called, ratio: float, text: str) -> Effect:
    """Return an effect of a level with boxes, whose tabulated time ratio is `ratio`."""
    deviation = engine.draws.effects[called.kind][called.level]
    return _told(engine, called, float(np.log(ratio)), -deviation / engine.draws.parameters.kappa, text)


def _told(engine: Engine, called: _Called, table: float, log_factor: Array, text: str) -> Effect:
    """Return an effect in words from the table's log time ratio and draws of the log factor to it."""
    kind, level, label = called
    boxes, plants = engine.counts.of_level(kind, level) if engine.counts else (0, 0)
    ratio = ratio_quantiles(table + log_factor)
    behind = "rules of thumb" if not boxes else "one box" if boxes == 1 else f"{boxes:,} boxes"
    said = text.replace("{}", f"{ratio.p50:.1f} times as long as")
    beyond = _beyond(log_factor) if boxes and kind in TABULATED else None
    overruled = f": {beyond.p50:.1f} times what the table says, which your boxes overrule" if beyond else ""
    return Effect(
        kind=kind,
        name=level,
        label=label,
        time_ratio=ratio,
        evidence=EffectEvidence(boxes=boxes, plants=plants),
        beyond_table=beyond,
        text=f"{said[:1].upper()}{said[1:]}, 80 % {ratio.p10:.1f}-{ratio.p90:.1f}, from {behind}{overruled}",
    )


def _beyond(log_factor: Array) -> Quantiles | None:
    factor = ratio_quantiles(log_factor)
    least = CONSTANTS.row_given_up_ratio
    return factor if factor.p10 >= least or factor.p90 <= 1.0 / least else None
