"""Simulation-based calibration: ``python -m tests.studies.calibration`` fits 300 importers of three sizes each.

Truths come from the model's own prior, covariates are fixed beforehand. The rank of a truth among 255 posterior draws
is then uniform (Talts, Betancourt, Simpson, Vehtari & Gelman 2018, Validating Bayesian inference algorithms with
simulation-based calibration), and so is the randomised probability integral transform of a count in a new box.
"""

import argparse
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray

from model.fit.box_predictive import described, line_predictors
from model.fit.fitting import resample
from model.fit.survival import TransitSurvival
from model.plant.effects import LEARNED_SCALES, unit_sd
from model.predict.predict import PosteriorDraws, box_chances
from model.quadrature import marginal_survival
from model.reference.tables import Reference, load_reference
from model.synthetic import Truth, draw_counts, draw_truth, true_predictor
from tests.studies.bands import N_VALUES, SIMULATIONS, RankBand, randomised_pit, rank
from tests.studies.importers import Importer, draw_importer
from tests.studies.record import model_digest, read, versions, write

Array = NDArray[np.float64]

NAME = "calibration.json"
SEED = 2018
SIZES = (10, 50, 200)
N_IMPORTERS = 300
N_DRAWS = 2048
N_WEIGHED = 2048
FALSE_ALARM = 0.01
MOST_OFF = 0.03
CENTRAL = (0.5, 0.8, 0.95)
# Whole-number ranges that are printed: from this quantile of the counts to that one.
RANGES = {"p10 to p90": (0.1, 0.9), "p05 to p95": (0.05, 0.95)}
PARAMETERS = ("alpha", "kappa", "delta", "log_q10")
QUANTITIES = (
    *PARAMETERS,
    "log_chill_rate",
    "log_h0",
    *(f"log_{name}" for name in LEARNED_SCALES),
    "seen_genus",
    "unseen_genus",
    "seller_latest",
    "chance",
    "count_in_new_box",
)
EVERY = 20


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of every importer of a size: the genus with most lines, one without, a seller's latest quarter."""

    seen: str
    unseen: str
    seller: str
    quarter: int


@dataclass(frozen=True, eq=False)
class Checked:
    """One importer: ranks by quantity, PITs of the new boxes, hits and own chances of ranges, effective draws."""

    ranks: dict[str, int]
    pits: Array
    hits: Array
    own_chances: Array
    effective: float
    pareto_k: float
    seconds: float


def ask(importer: Importer, reference: Reference) -> Asked:
    """Choose what to ask from covariates alone."""
    lines = importer.known_lines
    names, counts = np.unique(lines["genus"].astype(str), return_counts=True)
    unseen = sorted(set(reference.genera) - set(importer.lines["genus"]))[0]
    sellers, sent = np.unique(lines["seller"].astype(str), return_counts=True)
    seller = str(sellers[sent.argmax()])
    own = lines["seller"] == seller
    return Asked(str(names[counts.argmax()]), unseen, seller, int(lines["quarter"][own].max()))


def check(
    importer: Importer, asked: Asked, reference: Reference, *, seed: tuple[int, ...], n_weighed: int = N_WEIGHED
) -> Checked:
    """Draw a truth and its counts, fit the known boxes, and look where the truth lies among the draws."""
    start = time.perf_counter()
    rng = np.random.default_rng(seed)
    truth = draw_truth(reference, importer.observations, rng=rng)
    observed = draw_counts(importer.observations, truth, rng=rng)
    known, new = importer.split(observed)
    own_seed = int(rng.integers(2**31))
    fit = TransitSurvival(reference, n_draws=N_DRAWS, n_weighed=n_weighed, random_state=own_seed)
    fit.fit(importer.known_lines, known)
    few = resample(fit.posterior_, fit.hierarchy_, reference, N_VALUES - 1, own_seed, rng=rng)
    ranks = {name: rank(true, drawn, rng=rng) for name, true, drawn in _pairs(importer, asked, truth, few, rng=rng)}
    line_counts, box_counts, healthy, by_box = simulated_counts(importer, fit.draws_, new, rng=rng)
    ranks["count_in_new_box"] = int(N_VALUES * randomised_pit(healthy[0], line_counts[:, 0], rng=rng))
    pits, hits, chances = [], [], []
    for box, count in enumerate(by_box):
        drawn = box_counts[:, box]
        pits.append(randomised_pit(count, drawn, rng=rng))
        ends = [np.quantile(drawn, quantiles, method="inverted_cdf") for quantiles in RANGES.values()]
        hits.append([low <= count <= high for low, high in ends])
        chances.append([((low <= drawn) & (drawn <= high)).mean() for low, high in ends])
    return Checked(
        ranks,
        np.array(pits),
        np.array(hits, dtype=float),
        np.array(chances),
        fit.diagnostics_["effective_draws"],
        fit.diagnostics_["pareto_k"],
        time.perf_counter() - start,
    )


def _pairs(
    importer: Importer, asked: Asked, truth: Truth, draws: PosteriorDraws, *, rng: np.random.Generator
) -> Iterable[tuple[str, float, Array]]:
    """Yield name, true value and draws of each quantity but counts."""
    parameters, scales, levels = draws.parameters, truth.scales, importer.observations.levels
    for name in PARAMETERS:
        yield name, truth.parameters[name], getattr(parameters, name)
    for name in ("chill_rate", "h0"):
        yield f"log_{name}", float(np.log(truth.parameters[name])), np.log(getattr(parameters, name))
    for name in LEARNED_SCALES:
        yield f"log_{name}", float(np.log(scales[name])), np.log(parameters.scales[name])
    yield "seen_genus", _true(truth, importer, "genus", asked.seen), draws.effects["genus"][asked.seen]
    own_sd = unit_sd("genus", asked.unseen, draws.reference)
    unseen = draws.effect("genus", asked.unseen)
    yield "unseen_genus", scales["genus_multiplier"] * own_sd * float(rng.standard_normal()), unseen
    state = (asked.seller, asked.quarter)
    latest = draws.effects["seller"][asked.seller] + draws.effects["drift"][state]
    index = levels["drift"].index(state)
    true_latest = _true(truth, importer, "seller", asked.seller) + float(truth.effects["drift"][index])
    yield "seller_latest", true_latest, latest
    # The chance is asked for the first known line: a plant, a seller and a quarter with data.
    row = int(np.flatnonzero(importer.known)[0])
    eta = line_predictors(*described(importer.lines[row : row + 1], draws.reference), draws)[0].eta
    true_sd = np.array([np.hypot(scales["shipment"], scales["line"])])
    true_eta = true_predictor(importer.observations, truth)[row : row + 1]
    true = np.exp(-truth.parameters["h0"]) * marginal_survival(true_eta, true_sd)
    yield "chance", float(true[0]), np.exp(-parameters.h0) * marginal_survival(eta, draws.box_sd())


def _true(truth: Truth, importer: Importer, kind: str, level: str) -> float:
    return float(truth.effects[kind][importer.observations.levels[kind].index(level)])


def simulated_counts(
    importer: Importer, draws: PosteriorDraws, new: Array, *, rng: np.random.Generator
) -> tuple[Array, Array, Array, Array]:
    """Return healthy counts drawn for new lines and boxes, (draws, lines) and (draws, boxes), and the true ones."""
    lines = importer.new_lines
    box = np.unique(lines["shipment"].astype(str), return_inverse=True)[1]
    starts = np.searchsorted(box, np.arange(box[-1] + 1))
    parameters, scales = draws.parameters, draws.parameters.scales
    shipment = scales["shipment"][:, None] * rng.standard_normal((draws.n_draws, len(starts)))
    rows = line_predictors(*described(lines, draws.reference), draws)
    eta = np.stack([row.eta for row in rows], axis=1) + shipment[:, box]
    eta += scales["line"][:, None] * rng.standard_normal(eta.shape)
    healthy, _ = box_chances(eta, parameters.delta[:, None], parameters.h0[:, None])
    counts = rng.binomial(new[:, 3].astype(np.int64), healthy).astype(float)
    return (
        counts,
        np.add.reduceat(counts, starts, axis=1),
        new[:, 0],
        np.add.reduceat(new[:, 0], starts),
    )


def _try(*arguments: Any, seed: tuple[int, ...], n_weighed: int) -> Checked | str:
    """Return what `check` does, or the fault of a fit that fails: it is counted, never left out in silence."""
    try:
        return check(*arguments, seed=seed, n_weighed=n_weighed)
    except (ArithmeticError, RuntimeError, ValueError) as fault:
        return f"importer {seed[-1]}: {type(fault).__name__}: {str(fault)[:80]}"


def summarise(checked: Sequence[Checked], failed: Sequence[str], wanted: int, band: RankBand) -> dict[str, Any]:
    """Return one size's result; passes only whole, without failed fits and within every limit."""
    pits = np.stack([c.pits for c in checked])
    quantities = {}
    for name in QUANTITIES:
        ranks = np.array([c.ranks[name] for c in checked])
        p_value = band.p_value(ranks)
        share = (ranks + 0.5) / N_VALUES
        quantities[name] = {
            "p_value": round(p_value, 5),
            "passes": p_value >= FALSE_ALARM / len(QUANTITIES),
            "mean_rank": round(float(share.mean()), 3),
            "sd_over_uniform": round(float(share.std() * np.sqrt(12.0)), 3),
            "histogram": np.bincount(ranks // 16, minlength=16).tolist(),
        }
    coverage = {
        f"{level:.0%}": _share(np.abs(pits - 0.5) <= 0.5 * level, np.full(pits.shape, level)) for level in CENTRAL
    }
    ranges = {
        name: _share(np.stack([c.hits[:, i] for c in checked]), np.stack([c.own_chances[:, i] for c in checked]))
        for i, name in enumerate(RANGES)
    }
    effective = np.array([c.effective for c in checked])
    parts = [*quantities.values(), *coverage.values(), *ranges.values()]
    partial = len(checked) + len(failed) < wanted
    return {
        "importers": len(checked),
        "wanted": wanted,
        "partial": partial,
        "failed_fits": list(failed),
        "gamma": round(band.level(FALSE_ALARM / len(QUANTITIES)), 7),
        "quantities": quantities,
        "coverage": coverage,
        "ranges": ranges,
        "effective_draws": {q: round(float(np.quantile(effective, float(q)))) for q in ("0", "0.05", "0.5")},
        "share_below_200_effective": round(float((effective < 200).mean()), 3),
        "share_pareto_k_above_0.7": round(float(np.mean([c.pareto_k > 0.7 for c in checked])), 3),
        "median_seconds_an_importer": round(float(np.median([c.seconds for c in checked])), 2),
        "passes": not partial and not failed and all(part["passes"] for part in parts),
    }


def _share(hit: Array | NDArray[np.bool_], expected: Array) -> dict[str, Any]:
    """Return share hit and share expected, (importers, boxes) each; boxes of one importer are not independent."""
    by_importer = hit.mean(axis=1) - expected.mean(axis=1)
    off = float(by_importer.mean())
    return {
        "covers": round(float(hit.mean()), 4),
        "expected": round(float(expected.mean()), 4),
        "standard_error": round(float(by_importer.std(ddof=1) / np.sqrt(len(by_importer))), 4),
        "passes": abs(off) <= MOST_OFF,
    }


def study(
    n_boxes: int,
    n_importers: int,
    *,
    processes: int = 1,
    n_weighed: int = N_WEIGHED,
    simulations: int = SIMULATIONS,
    keep: bool = False,
) -> dict[str, Any]:
    """Return one size's result, partial below `N_IMPORTERS`; the band comes from `simulations`.

    With `keep` it is stored as it grows.
    """
    reference = load_reference()
    importer = draw_importer(reference, n_boxes, rng=np.random.default_rng([SEED, n_boxes]))
    asked = ask(importer, reference)
    band_rng = np.random.default_rng([SEED, 0])
    jobs = (
        delayed(_try)(importer, asked, reference, seed=(SEED, n_boxes, i), n_weighed=n_weighed)
        for i in range(n_importers)
    )
    checked: list[Checked] = []
    failed: list[str] = []
    for done, outcome in enumerate(Parallel(processes, return_as="generator")(jobs), start=1):
        if isinstance(outcome, str):
            failed.append(outcome)
        else:
            checked.append(outcome)
        if keep and done % EVERY == 0 and done < n_importers and len(checked) > 1:
            band = RankBand(len(checked), rng=band_rng, simulations=2000)
            _store(n_boxes, summarise(checked, failed, N_IMPORTERS, band), n_weighed)
    result = summarise(checked, failed, N_IMPORTERS, RankBand(len(checked), rng=band_rng, simulations=simulations))
    if keep:
        _store(n_boxes, result, n_weighed)
    return result


def _store(n_boxes: int, result: dict[str, Any], n_weighed: int) -> None:
    stored = read(NAME)
    about = {"seed": SEED, "draws_weighed": n_weighed, "model": model_digest(), **versions()}
    write(NAME, {"sizes": {**stored.get("sizes", {}), str(n_boxes): {**result, **about}}})


def table(result: dict[str, Any]) -> str:
    """Return a stored result as Markdown."""
    sizes = sorted(result["sizes"], key=int)
    rows = [[f"{name} boxes" for name in sizes]]
    of = [result["sizes"][name] for name in sizes]
    lines = ["| | " + " | ".join(rows[0]) + " |", "|---|" + "---|" * len(sizes)]

    def row(name: str, cells: Iterable[object]) -> None:
        lines.append(f"| {name} | " + " | ".join(str(cell) for cell in cells) + " |")

    row("importers", (f"{r['importers']}{' (cut short)' if r['partial'] else ''}" for r in of))
    row("fits that failed", (len(r["failed_fits"]) for r in of))
    row("fits with fewer than 200 effective draws", (f"{r['share_below_200_effective']:.0%}" for r in of))
    inside = (sum(q["passes"] for q in r["quantities"].values()) for r in of)
    row("quantities whose ranks stay in the band", (f"{n} of {len(QUANTITIES)}" for n in inside))
    row("outside", (", ".join(k for k, q in r["quantities"].items() if not q["passes"]) or "none" for r in of))
    for part, title in (("coverage", "central {} of new boxes' counts covers"), ("ranges", "range {} covers")):
        for name in of[0][part]:
            cells = (r[part][name] for r in of)
            row(title.format(name), (_cell(cell, own=part == "ranges") for cell in cells))
    row("all within their limits", ("yes" if r["passes"] else "no" for r in of))
    return "\n".join(lines)


def _cell(share: dict[str, Any], *, own: bool) -> str:
    text = f"{share['covers']:.1%} ± {share['standard_error']:.1%}"
    return text + (f" of {share['expected']:.1%}" if own else "") + ("" if share["passes"] else " (off)")


def main() -> None:
    """Run the study, or with --table print its last result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--importers", type=int, default=N_IMPORTERS)
    parser.add_argument("--weighed", type=int, default=N_WEIGHED)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--table", action="store_true", help="print the last result and run nothing")
    options = parser.parse_args()
    if not options.table:
        for n_boxes in options.sizes:
            study(n_boxes, options.importers, processes=options.processes, n_weighed=options.weighed, keep=True)
    print(table(read(NAME)))  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
