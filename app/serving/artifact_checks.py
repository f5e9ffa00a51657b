"""What the values of an artefact must be, one by one: a fit writes no others, so any other was not written by one."""

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.serving.manifest import JsonLevel, Manifest
from model.plant import KINDS, LEARNED_SCALES, UNNAMED
from model.reference import Reference

Arrays = Mapping[str, NDArray[Any]]

POSITIVE = ("kappa", "delta", "chill_rate", "h0", "late_loss.slope", "variance.prior")
# On the scale of the linear predictor, where the chances of exp(-exp(eta)) end at about 40.
MOST_EFFECT = 100.0
MOST_COUNT = 2**53
SYMMETRIC = 1e-4
# Months from and to.
SEASON = re.compile(r"(0[1-9]|1[0-2])-(0[1-9]|1[0-2])")


def check_values(manifest: Manifest, arrays: Arrays, reference: Reference) -> None:
    """Look at every value of an artefact; shapes are checked where the arrays are taken.

    Raises
    ------
    ValueError
        With the name of the first that no fit writes.
    """
    for name, message in _faults(manifest, arrays, reference):
        raise ValueError(f"{name} {message}")


def _faults(manifest: Manifest, arrays: Arrays, reference: Reference) -> Iterator[tuple[str, str]]:
    for name, array in arrays.items():
        if array.dtype.kind not in "fi" or not np.isfinite(array).all():
            yield name, "is not all finite numbers"
    yield from _level_faults(manifest, reference)
    yield from _lane_faults(manifest, arrays, reference)
    yield from _draw_faults(arrays)
    yield from _count_faults(manifest, arrays)
    yield from _variance_faults(manifest, arrays)
    yield from _criticism_faults(manifest)


def _level_faults(manifest: Manifest, reference: Reference) -> Iterator[tuple[str, str]]:
    """Yield faults of the names of the arrays' rows: in another order the draws of one would answer for another."""
    if manifest.levels.keys() != set(KINDS):
        yield "levels", f"are not of {', '.join(KINDS)}"
    for kind, levels in manifest.levels.items():
        if not _ascends(levels):
            yield f"levels.{kind}", "are not in order, each once"
        if any(isinstance(level, str) == (kind == "drift") for level in levels):
            yield f"levels.{kind}", "are not names, or for drift a name and a quarter"
    known = {
        "group": {*(genus.group for genus in reference.genera.values()), UNNAMED},
        "container": reference.containers,
        "roots": reference.roots,
        "service": {*reference.services, UNNAMED},
        "seller_kind": {*reference.seller_kinds, UNNAMED},
    }
    for kind, names in known.items():
        if unknown := {*manifest.levels[kind]} - {*names}:
            yield f"levels.{kind}", f"has {len(unknown)} that the tables do not"


def _ascends(levels: Sequence[JsonLevel]) -> bool:
    # As `model.fit.observe` puts them.
    keys = [repr(level) for level in levels]
    return all(one < next_one for one, next_one in pairwise(keys))


def _lane_faults(manifest: Manifest, arrays: Arrays, reference: Reference) -> Iterator[tuple[str, str]]:
    if len(set(manifest.lanes)) < len(manifest.lanes):
        yield "lanes", "name one twice"
    if any(service not in reference.services for service, _, _ in manifest.lanes):
        yield "lanes", "name a service that the tables do not"
    share = arrays["times.delay_share"]
    if ((share < 0) | (share > 1)).any():
        yield "times.delay_share", "is not a share"
    if "times.delay_size" in arrays:  # not in artefacts from before it was learned
        if (arrays["times.delay_size"] <= 0).any():
            yield "times.delay_size", "is not above 0"
        again = arrays["times.again_share"]
        if ((again < 0) | (again >= 1)).any():
            yield "times.again_share", "is not a share below 1"


def _draw_faults(arrays: Arrays) -> Iterator[tuple[str, str]]:
    for name in (*POSITIVE, *(f"scale.{scale}" for scale in LEARNED_SCALES)):
        if (arrays[name] <= 0).any():
            yield name, "is not above 0"
    lost = arrays["lost"]
    if ((lost < 0) | (lost >= 1)).any():
        yield "lost", "is not a chance"
    for name in ("alpha", "log_q10", "late_loss.intercept", *(f"effect.{kind}" for kind in KINDS)):
        if (np.abs(arrays[name]) > MOST_EFFECT).any():
            yield name, f"is not within {MOST_EFFECT:g} of 0"


def _count_faults(manifest: Manifest, arrays: Arrays) -> Iterator[tuple[str, str]]:
    for name, array in arrays.items():
        if name.startswith(("counts.", "pairs.", "times.arrived", "times.on_the_way", "times.left_out")):
            if array.dtype.kind != "i" or (array < 0).any() or (array > MOST_COUNT).any():
                yield name, "is not all whole numbers, 0 or more"
            elif name.endswith((".boxes", ".plants")) and (array > _most(manifest, name)).any():
                yield name, "counts more than the fit has"
    if "falls.seller" in arrays:  # not in artefacts from before there were any
        codes = arrays["falls.seller"]
        if codes.dtype.kind != "i" or ((codes < 0) | (codes >= len(manifest.levels["seller"]))).any():
            yield "falls.seller", "is beyond the levels"
    for kind in ("genus", "seller"):
        if (arrays[f"pairs.{kind}"] >= len(manifest.levels[kind])).any():
            yield f"pairs.{kind}", "is beyond the levels"
    if manifest.n_replaced > manifest.n_draws:
        yield "n_replaced", "is more than n_draws"


def _most(manifest: Manifest, name: str) -> int:
    return manifest.n_boxes if name.endswith(".boxes") else manifest.n_plants


def _variance_faults(manifest: Manifest, arrays: Arrays) -> Iterator[tuple[str, str]]:
    posterior = arrays["variance.posterior"]
    if posterior.ndim != 2 or posterior.shape[0] != posterior.shape[1]:  # noqa: PLR2004 - a matrix
        yield "variance.posterior", "is not square"
    elif (np.diag(posterior) < 0).any() or not np.allclose(posterior, posterior.T, atol=SYMMETRIC):
        yield "variance.posterior", "is no covariance"
    scales = manifest.scales_at_mode
    if scales.keys() != set(LEARNED_SCALES) or min(scales.values()) <= 0:
        yield "scales_at_mode", f"are not of {', '.join(LEARNED_SCALES)}, each above 0"


def _criticism_faults(manifest: Manifest) -> Iterator[tuple[str, str]]:
    """Yield faults of what a fit was asked about itself: the rest of it is looked at as the manifest is read."""
    if manifest.criticism is None:  # not in artefacts from before there was any
        return
    named = [("seller", check.level) for check in manifest.criticism.checks if check.about == "seller"]
    named += [(one.kind, one.level) for one in manifest.criticism.rests if one.kind in ("genus", "seller")]
    if any(level not in manifest.levels[kind] for kind, level in named):
        yield "criticism", "names a level that the fit does not have"
    seasons = [check.level for check in manifest.criticism.checks if check.about == "season"]
    if not all(SEASON.fullmatch(level) for level in seasons):
        yield "criticism", "names a season that is none"
    if any(check.boxes > manifest.n_boxes for check in manifest.criticism.checks):
        yield "criticism", "counts more boxes than the fit has"
