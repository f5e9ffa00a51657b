"""Posterior draws drawn anew by weights that boxes after the fit gave them, and the boxes behind both."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from model.plant import KINDS, Level
from model.predict.evidence import BoxCounts, Counts, LevelCounts
from model.predict.predict import PosteriorDraws

Array = NDArray[np.float64]


def with_levels(draws: PosteriorDraws, levels: Mapping[str, Iterable[Level]]) -> PosteriorDraws:
    """Return the same draws with effects of levels that had no data: draws of their population, so far.

    The quarters of a seller follow each other as an AR(1), each given the nearest one that has an effect already.
    """
    effects: dict[str, dict[Level, Array]] = {kind: dict(draws.effects.get(kind, {})) for kind in KINDS}
    for kind in KINDS:
        new = [level for level in levels.get(kind, ()) if level not in effects[kind]]
        for level in new if kind != "drift" else ():
            effects[kind][level] = draws.effect(kind, level)
        for seller, quarter in sorted((str(level[0]), int(level[1])) for level in new) if kind == "drift" else ():
            effects[kind][seller, quarter] = replace(draws, effects=effects).drift(seller, quarter)
    return replace(draws, effects=effects)


def resampled_draws(draws: PosteriorDraws, pool: PosteriorDraws, index: NDArray[np.intp]) -> PosteriorDraws:
    """Return draws with the parameters and effects that stand at `index`, (draws,), of a pool.

    What no box bears on keeps the draws that belong to its label, place by place, and so does late loss: before and
    after differ in what was learned alone.
    """
    effects = {kind: {k: v[index] for k, v in own.items()} for kind, own in pool.effects.items()}
    return replace(draws, parameters=pool.parameters.take(index), effects=effects)


def added_counts(first: BoxCounts, later: BoxCounts) -> BoxCounts:
    """Return the boxes and plants behind two sets of boxes that have none in common."""
    levels = {kind: tuple(dict.fromkeys([*first.levels[kind], *later.levels[kind]])) for kind in KINDS}
    place = {kind: {level: code for code, level in enumerate(levels[kind])} for kind in KINDS}
    by_level = {
        kind: _added(
            len(levels[kind]),
            *(
                ([place[kind][level] for level in counts.levels[kind]], counts.by_level[kind])
                for counts in (first, later)
            ),
        )
        for kind in KINDS
    }
    n_sellers = max(len(levels["seller"]), 1)
    coded = [_pair_codes(counts, place, n_sellers) for counts in (first, later)]
    pairs, code = np.unique(np.concatenate(coded), return_inverse=True)
    n = len(coded[0])
    return BoxCounts(
        n_boxes=first.n_boxes + later.n_boxes,
        n_plants=first.n_plants + later.n_plants,
        levels=levels,
        by_level=by_level,
        genus=pairs // n_sellers,
        seller=pairs % n_sellers,
        pairs=_added(len(pairs), (code[:n], first.pairs), (code[n:], later.pairs)),
    )


def _pair_codes(counts: BoxCounts, place: Mapping[str, Mapping[Level, int]], n_sellers: int) -> Counts:
    genera = np.array([place["genus"][level] for level in counts.levels["genus"]], dtype=np.int64)
    sellers = np.array([place["seller"][level] for level in counts.levels["seller"]], dtype=np.int64)
    codes: Counts = genera[counts.genus] * n_sellers + sellers[counts.seller] if len(counts.genus) else counts.genus
    return codes


def _added(n: int, *parts: tuple[Sequence[int] | Counts, LevelCounts]) -> LevelCounts:
    boxes, plants = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    for codes, counts in parts:
        np.add.at(boxes, np.asarray(codes, dtype=np.intp), counts.boxes)
        np.add.at(plants, np.asarray(codes, dtype=np.intp), counts.plants)
    return LevelCounts(boxes, plants)
