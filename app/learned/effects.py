"""Effects as time ratios in plain words, with the boxes behind them.

    time ratio = TR0 x exp(-deviation / kappa)

TR0 is the tables' ratio. It has no mean, so quantiles are given; it holds at 20 °C, above chilling. Where the whole
80 % interval lies well beyond TR0 the row of the table is told to be overruled.
"""

import numpy as np
from numpy.typing import NDArray

from app.schemas import Effect, EffectEvidence, Quantiles
from app.serving import Engine
from model.plant import Plant, log_time_ratio
from model.predict import BoxCounts
from model.reference import CONSTANTS, REFERENCE_CONTAINER, REFERENCE_ROOTS

Array = NDArray[np.float64]

MOST_LOG_RATIO = 700.0
# Kinds whose levels have a row with a time ratio in the tables.
TABULATED = {"genus", "container", "roots", "seller_kind"}


def effects(engine: Engine) -> list[Effect]:
    """Return all genera of the tables, then every other level with boxes."""
    found = [genus_effect(engine, name) for name in engine.reference.genera]
    if engine.counts is None:
        return found
    counts, reference = engine.counts, engine.reference
    for level in _named(counts, "group"):
        found.append(_effect(engine, "group", level, 1.0, f"Plants of the group {level} keep {{}} an average aroid"))
    for level in _named(counts, "cultivar"):
        if level not in reference.genera:
            text = f"{level} keeps {{}} an average cultivar of its genus"
            found.append(_effect(engine, "cultivar", level, 1.0, text))
    box, wrap = reference.containers[REFERENCE_CONTAINER].name, reference.roots[REFERENCE_ROOTS].name
    for level in _named(counts, "container"):
        container = reference.containers[level]
        text = f"Plants in a {container.name} keep {{}} those in a {box}"
        found.append(_effect(engine, "container", level, container.time_ratio, text))
    for level in _named(counts, "roots"):
        roots = reference.roots[level]
        text = f"Plants sent with {roots.name} keep {{}} those with {wrap}"
        found.append(_effect(engine, "roots", level, roots.time_ratio, text))
    for level in _named(counts, "seller_kind"):
        text = f"Plants from sellers of the kind {level} keep {{}} those from a seller whose kind is not known"
        found.append(_effect(engine, "seller_kind", level, reference.seller_kinds[level].time_ratio, text))
    for level in _named(counts, "service"):
        text = f"Plants by {reference.services[level].name} keep {{}} those by an average service, as long on the way"
        found.append(_effect(engine, "service", level, 1.0, text))
    for level in _named(counts, "seller"):
        found.append(seller_effect(engine, level, level))
    return found


def genus_effect(engine: Engine, name: str) -> Effect:
    """Return a genus against an average aroid packed alike; the average of its group deviates with it."""
    draws, plant = engine.draws, Plant(engine.reference.genera[name])
    deviation = draws.effect("genus", plant.genus_level)
    if plant.group_level is not None:
        deviation = deviation + draws.effect("group", plant.group_level)
    table = log_time_ratio(plant, engine.reference)
    text = f"{name} lasts {{}} an average aroid"
    return _told(engine, "genus", name, table, -deviation / draws.parameters.kappa, text)


def seller_effect(engine: Engine, level: str, name: str) -> Effect:
    """Return a seller in its latest quarter with boxes against an average one of its kind."""
    draws = engine.draws
    deviation = draws.effect("seller", level) + draws.drift(level, None)
    text = f"Plants from {name} last {{}} those from an average seller of its kind"
    return _told(engine, "seller", level, 0.0, -deviation / draws.parameters.kappa, text, name=name)


def quantiles(values: Array) -> Quantiles:
    """Return median and 80 % interval of draws."""
    p10, p50, p90 = np.quantile(values, [0.1, 0.5, 0.9])
    return Quantiles(p10=p10, p50=p50, p90=p90)


def ratio_quantiles(log_ratio: Array) -> Quantiles:
    """Return median and 80 % interval of a time ratio.

    Where boxes say that time hardly matters kappa is near 0 and a ratio can be any number: it is shown up to e^700,
    which stands for more than any time.
    """
    p10, p50, p90 = np.exp(np.clip(np.quantile(log_ratio, [0.1, 0.5, 0.9]), -MOST_LOG_RATIO, MOST_LOG_RATIO))
    return Quantiles(p10=p10, p50=p50, p90=p90)


def _named(counts: BoxCounts, kind: str) -> list[str]:
    return [str(level) for level in counts.levels[kind] if level]


def _effect(engine: Engine, kind: str, level: str, ratio: float, text: str) -> Effect:
    """Return an effect of a level with boxes, whose tabulated time ratio is `ratio`."""
    deviation = engine.draws.effects[kind][level]
    return _told(engine, kind, level, float(np.log(ratio)), -deviation / engine.draws.parameters.kappa, text)


def _told(
    engine: Engine, kind: str, level: str, table: float, log_factor: Array, text: str, *, name: str | None = None
) -> Effect:
    """Return an effect in words from the table's log time ratio and draws of the log factor to it."""
    boxes, plants = engine.counts.of_level(kind, level) if engine.counts else (0, 0)
    ratio = ratio_quantiles(table + log_factor)
    behind = "rules of thumb" if not boxes else "one box" if boxes == 1 else f"{boxes:,} boxes"
    said = text.replace("{}", f"{ratio.p50:.1f} times as long as")
    beyond = _beyond(log_factor) if boxes and kind in TABULATED else None
    overruled = f": {beyond.p50:.1f} times what the table says, which your boxes overrule" if beyond else ""
    return Effect(
        kind=kind,
        name=name or level,
        time_ratio=ratio,
        evidence=EffectEvidence(boxes=boxes, plants=plants),
        beyond_table=beyond,
        text=f"{said}, 80 % {ratio.p10:.1f}-{ratio.p90:.1f}, from {behind}{overruled}",
    )


def _beyond(log_factor: Array) -> Quantiles | None:
    factor = ratio_quantiles(log_factor)
    least = CONSTANTS.row_given_up_ratio
    return factor if factor.p10 >= least or factor.p90 <= 1.0 / least else None
