"""The artefact of a fitted model: plain arrays in one .npz and a JSON manifest, never a pickle.

The manifest is checked first: format, SHA-256 of itself and the arrays, and the fingerprint of tables, constants and
code. The draws are deviations from those, so a model fitted under another fingerprint is refused, not carried over:
refit it. Then every value is looked at (`app.serving.artifact_checks`), since who can change a ledger can also write a
new hash. Versions of this package and of numpy are for the record only.
"""

import io
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.serving.artifact_checks import check_values
from app.serving.criticism import Criticism, LeftOutScores
from app.serving.learned_times import LaneKey, LaneTimes, LearnedTimes
from app.serving.manifest import FORMAT, ArtefactError, DelayCheck, Manifest, read_manifest
from app.serving.seller_falls import NEWEST, SellerFalls
from model.plant import KINDS, LEARNED_SCALES, Level
from model.predict import BoxCounts, FitVariance, LateLossDraws, LevelCounts, PosteriorDraws
from model.prior import ParameterDraws
from model.reference import Reference
from model.transit import TransitQuantiles

PARAMETERS = ("alpha", "kappa", "delta", "log_q10", "chill_rate", "h0", "lost")
Arrays = dict[str, NDArray[Any]]
# Arrays over lanes beside their quantiles, in the order of `LaneTimes`.
OF_LANES = ("delay_share", "arrived", "on_the_way", "left_out", "delay_size", "again_share")


@dataclass(frozen=True, eq=False)
class FittedModel:
    """A model fitted to recorded boxes: its draws, what they rest on, times in transit, manifest, sellers' falls."""

    draws: PosteriorDraws
    counts: BoxCounts
    variance: FitVariance
    times: LearnedTimes
    manifest: Manifest
    falls: SellerFalls = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class FitRecord:
    """What a manifest says of a fit beyond its arrays."""

    fitted_at: datetime
    data_fingerprint: str
    n_lines: int
    diagnostics: Mapping[str, float | int | bool | str]
    n_rechecked_boxes: int = 0
    n_rechecked_plants: int = 0
    delay_check: DelayCheck | None = None
    falls: SellerFalls = field(default_factory=dict)
    criticism: Criticism | None = None


@cache
def package_version() -> str:
    """Return the version of this package."""
    try:
        return version("transit-survival")
    except PackageNotFoundError:
        return "0 (run from the source tree)"


def to_artefact(
    draws: PosteriorDraws, counts: BoxCounts, variance: FitVariance, times: LearnedTimes, record: FitRecord
) -> tuple[FittedModel, bytes]:
    """Return a model with its manifest, and its arrays as the bytes of an .npz file.

    Raises
    ------
    ArtefactError
        If an array holds a value that is not finite.
    """
    arrays = _arrays(draws, counts, variance, times) | _fall_arrays(record.falls, counts)
    if bad := sorted(name for name, array in arrays.items() if not np.isfinite(array).all()):
        raise ArtefactError(f"the fit is not finite in {', '.join(bad)}")
    buffer = io.BytesIO()
    np.savez(buffer, allow_pickle=False, **arrays)
    data = buffer.getvalue()
    manifest = Manifest(
        format=FORMAT,
        package_version=package_version(),
        numpy_version=np.__version__,
        fitted_at=record.fitted_at,
        data_fingerprint=record.data_fingerprint,
        reference_fingerprint=draws.reference.fingerprint,
        seed=draws.key,
        n_boxes=counts.n_boxes,
        n_lines=record.n_lines,
        n_plants=counts.n_plants,
        n_draws=draws.n_draws,
        n_replaced=draws.parameters.n_replaced,
        levels={kind: list(counts.levels[kind]) for kind in KINDS},
        lanes=[(*lane.key,) for lane in times.lanes],
        n_rechecked_boxes=record.n_rechecked_boxes,
        n_rechecked_plants=record.n_rechecked_plants,
        delay_check=record.delay_check,
        scales_at_mode=dict(variance.scales),
        prior_covariance=variance.prior_covariance,
        diagnostics=dict(record.diagnostics),
        criticism=record.criticism,
        sha256="",
    )
    return FittedModel(draws, counts, variance, times, manifest.sealed(data), record.falls), data


def with_left_out(fitted: FittedModel, arrays: bytes, scores: LeftOutScores) -> FittedModel:
    """Return a fit, and its arrays as bytes, with the scores of boxes left out one by one in its criticism."""
    criticism = fitted.manifest.criticism
    if criticism is None:
        return fitted
    told = criticism.model_copy(update={"left_out": scores})
    return replace(fitted, manifest=fitted.manifest.model_copy(update={"criticism": told}).sealed(arrays))


def from_artefact(manifest_json: str, data: bytes, reference: Reference) -> FittedModel:
    """Return the model in an artefact.

    Raises
    ------
    ArtefactError
        If the bytes are not those of the manifest, were fitted with other tables, constants or code, or hold a value
        that no fit has.
    """
    manifest = read_manifest(manifest_json)
    if manifest.seal(data) != manifest.sha256:
        raise ArtefactError(
            "manifest and arrays of the stored model are not as they were made (SHA-256 differs): refit"
        )
    if manifest.reference_fingerprint != reference.fingerprint:
        raise ArtefactError(
            f"the stored model was fitted with other tables, constants or code ({manifest.reference_fingerprint}, now "
            f"{reference.fingerprint}): refit"
        )
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
        check_values(manifest, arrays, reference)
        return _model(manifest, arrays, reference)
    except (KeyError, ValueError, OSError, EOFError, zipfile.BadZipFile) as error:
        raise ArtefactError(f"the arrays of the stored model cannot be read ({error}): refit") from error


def _arrays(draws: PosteriorDraws, counts: BoxCounts, variance: FitVariance, times: LearnedTimes) -> Arrays:
    arrays: Arrays = {name: getattr(draws.parameters, name) for name in PARAMETERS}
    arrays |= {f"scale.{name}": draws.parameters.scales[name] for name in LEARNED_SCALES}
    arrays |= {"late_loss.intercept": draws.late_loss.intercept, "late_loss.slope": draws.late_loss.slope}
    for kind in KINDS:
        own = [draws.effects[kind][level] for level in counts.levels[kind]]
        arrays[f"effect.{kind}"] = np.stack(own) if own else np.empty((0, draws.n_draws))
        arrays |= _count_arrays(f"counts.{kind}", counts.by_level[kind])
    arrays |= {"pairs.genus": counts.genus, "pairs.seller": counts.seller, **_count_arrays("pairs", counts.pairs)}
    arrays |= _time_arrays(times)
    return arrays | {"variance.prior": variance.prior_variance, "variance.posterior": variance.posterior}


def _time_arrays(times: LearnedTimes) -> Arrays:
    lanes = times.lanes
    quantiles = [(lane.quantiles.p10, lane.quantiles.p50, lane.quantiles.p90) for lane in lanes]
    return {
        "times.quantiles": np.array(quantiles, dtype=float).reshape(len(lanes), 3),
        "times.delay_share": np.array([lane.delay_share for lane in lanes], dtype=float),
        "times.arrived": np.array([lane.n_arrived for lane in lanes], dtype=np.int64),
        "times.on_the_way": np.array([lane.n_on_the_way for lane in lanes], dtype=np.int64),
        "times.left_out": np.array([lane.n_left_out for lane in lanes], dtype=np.int64),
        "times.delay_size": np.array([lane.delay_size for lane in lanes], dtype=float),
        "times.again_share": np.array([lane.again_share for lane in lanes], dtype=float),
    }


def _fall_arrays(falls: SellerFalls, counts: BoxCounts) -> Arrays:
    told = [(code, falls[str(level)]) for code, level in enumerate(counts.levels["seller"]) if level in falls]
    return {
        "falls.seller": np.array([code for code, _ in told], dtype=np.int64),
        "falls.log_ratio": np.array([ratios for _, ratios in told], dtype=float).reshape(len(told), len(NEWEST)),
    }


def _count_arrays(name: str, counts: LevelCounts) -> Arrays:
    return {f"{name}.boxes": counts.boxes, f"{name}.plants": counts.plants}


def _model(manifest: Manifest, arrays: Arrays, reference: Reference) -> FittedModel:
    n = manifest.n_draws
    levels: dict[str, tuple[Level, ...]] = {kind: tuple(manifest.levels[kind]) for kind in KINDS}

    def take(name: str, *shape: int) -> NDArray[Any]:
        if arrays[name].shape != shape:
            raise ValueError(f"{name} has shape {arrays[name].shape}, not {shape}")
        return arrays[name]

    def counted(name: str, size: int) -> LevelCounts:
        return LevelCounts(take(f"{name}.boxes", size), take(f"{name}.plants", size))

    effects = {
        kind: dict(zip(levels[kind], take(f"effect.{kind}", len(levels[kind]), n), strict=True)) for kind in KINDS
    }
    parameters = ParameterDraws(
        **{name: take(name, n) for name in PARAMETERS},
        scales={name: take(f"scale.{name}", n) for name in LEARNED_SCALES},
        n_replaced=manifest.n_replaced,
    )
    late_loss = LateLossDraws(take("late_loss.intercept", n), take("late_loss.slope", n))
    n_pairs, p = len(arrays["pairs.genus"]), 2 + sum(map(len, levels.values()))
    counts = BoxCounts(
        n_boxes=manifest.n_boxes,
        n_plants=manifest.n_plants,
        levels=levels,
        by_level={kind: counted(f"counts.{kind}", len(levels[kind])) for kind in KINDS},
        genus=take("pairs.genus", n_pairs),
        seller=take("pairs.seller", n_pairs),
        pairs=counted("pairs", n_pairs),
    )
    variance = FitVariance(
        levels=levels,
        prior_variance=take("variance.prior", p),
        prior_covariance=manifest.prior_covariance,
        posterior=take("variance.posterior", p, p),
        scales=manifest.scales_at_mode,
        reference=reference,
    )
    n_lanes = len(manifest.lanes)
    # Not in artefacts from before there were any.
    none_yet = {
        "times.left_out": np.zeros(n_lanes, dtype=np.int64),
        "times.delay_size": np.ones(n_lanes),
        "times.again_share": np.array([reference.services[key[0]].again_share or 0.0 for key in manifest.lanes]),
        **_fall_arrays({}, counts),
    }
    arrays = none_yet | arrays
    n_falls = len(arrays["falls.seller"])
    ratios = take("falls.log_ratio", n_falls, len(NEWEST)).tolist()
    falls = {str(levels["seller"][code]): (*own,) for code, own in zip(arrays["falls.seller"], ratios, strict=True)}
    times = zip(
        manifest.lanes,
        take("times.quantiles", n_lanes, 3).tolist(),
        *(take(f"times.{name}", n_lanes).tolist() for name in OF_LANES),
        strict=True,
    )
    return FittedModel(
        PosteriorDraws(parameters, late_loss, reference, manifest.seed, effects),
        counts,
        variance,
        LearnedTimes(
            tuple(LaneTimes(LaneKey(*key), TransitQuantiles(*days), *counted) for key, days, *counted in times)
        ),
        manifest,
        falls,
    )
