"""How soon a seller who falls is named: ``python -m tests.studies.drift``.

An importer knows 30 boxes. In the next quarter two boxes come from the seller known best, and their plants last half as
long as they did, or as long as ever. Told is, from the fit of all boxes, the chance that the seller got worse, as a
seller's page says it; and how many times likelier the counts of the new boxes are if plants last half as long than if
nothing changed, by the fit of the boxes before: the likelihood ratio of exactly what happened, which no test beats
(Neyman & Pearson 1933). That ratio again as a refit finds it, of the boxes that are new, from the fit of all boxes, and
from a fit more where the page would make one; and what the page then says, which looks at the newest box and the newest
two, whichever are new. Truths are the model's and three that it does not contain, in turn.

A seller is named where a statistic is beyond all but one in twenty of those who have not changed.
"""

import argparse
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from joblib import Parallel, delayed
from numpy.typing import NDArray
from scipy import special, stats
from threadpoolctl import threadpool_limits

from app.learning.falls import Fit, by_fit_of_all, by_fit_of_others, newest_boxes, worth_a_fit
from app.sellers.trend import SURE, drift_odds, told_fall
from model.fit.box_predictive import box_log_likelihoods
from model.fit.fitting import fit_boxes
from model.fit.lines import Lines, Observed, observe
from model.fit.observations import Observations
from model.plant import drift_quarters
from model.predict import PosteriorDraws
from model.reference.tables import Reference, load_reference
from model.synthetic import draw_truth
from tests.studies.importers import NEXT_QUARTER, Importer, draw_importer
from tests.studies.record import model_digest, read, versions, write
from tests.studies.truths import draw_outcomes

Array = NDArray[np.float64]

NAME = "drift.json"
SEED = 1933
N_BOXES, N_IMPORTERS, N_DRAWS = 30, 80, 2048
NEW = (1, 2)
FALL = 0.5
FALSE_ALARMS = 0.05
WORLDS = ("the model", "log-logistic tolerance", "heavy-tailed boxes", "lots that share a fate")
STATISTICS = ("chance worse", "likelihood ratio", "ratio by the fit of all boxes", "ratio as the page has it")


def of_one_seller(importer: Importer) -> tuple[Importer, str]:
    """Return the importer with the seller who is known best behind all new boxes, and that seller."""
    sellers, boxes = np.unique(importer.known_lines["seller"].astype(str), return_counts=True)
    seller = str(sellers[boxes.argmax()])
    lines = importer.lines.copy()
    lines["seller"][~importer.known] = seller
    lines["seller_kind"][~importer.known] = importer.known_lines["seller_kind"][
        importer.known_lines["seller"] == seller
    ][0]
    return _with(importer, lines), seller


def fallen(importer: Importer) -> Importer:
    """Return the importer whose new boxes' plants last `FALL` times as long: as if they travelled so much longer."""
    lines = importer.lines.copy()
    lines["log_days"][~importer.known] -= np.log(FALL)
    return _with(importer, lines)


def _with(importer: Importer, lines: Lines) -> Importer:
    counts = np.full((len(lines), 4), np.nan)
    counts[:, 3] = importer.observations.sent
    observations, order, _ = observe(lines, counts, load_reference())
    assert (order == np.arange(len(lines))).all()
    return replace(importer, lines=lines, observations=observations)


def chance_worse(draws: PosteriorDraws, seller: str) -> tuple[float, float]:
    """Return the chance that a seller got worse from its first quarter to the last, and the odds of a change."""
    drift = draws.effects["drift"]
    quarters = drift_quarters(drift)[seller]
    gap = drift[seller, quarters[-1]] - drift[seller, quarters[0]]
    return float(np.mean(gap > 0)), drift_odds(gap, draws.parameters.scales["drift"], quarters[-1] - quarters[0])


def log_ratio(lines: Lines, counts: Array, draws: PosteriorDraws, reference: Reference) -> float:
    """Return how much likelier the counts of boxes are with the fall than without, by draws of the fit before them."""
    later = lines.copy()
    later["log_days"] -= np.log(FALL)
    by_draw = [box_log_likelihoods(observe(these, counts, reference), draws).sum(axis=1) for these in (later, lines)]
    log_p = [float(special.logsumexp(own)) for own in by_draw]
    return log_p[0] - log_p[1]


def found_falls(
    observed: Observed, draws: PosteriorDraws, n: int, *, quarters: NDArray[np.int_], seller: str, fit: Fit
) -> dict[str, Any]:
    """Return what a refit finds of a seller's newest boxes, n of them new, by the fit of all and as the page has it."""
    first = np.unique(observed.observations.box, return_index=True)[1]
    newest = newest_boxes(observed.observations, (3 * quarters[first]).astype("datetime64[M]"))[seller]
    by_all = by_fit_of_all(observed, newest, draws)
    shown = (by_fit_of_others(observed, newest, fit) or by_all) if worth_a_fit(by_all) else by_all
    fall = told_fall([one.log_ratio for one in shown]) if all(one.sure for one in shown) else None
    return {
        "ratio by the fit of all boxes": by_all[n - 1].log_ratio,
        "sure": by_all[n - 1].sure,
        "ratio as the page has it": shown[n - 1].log_ratio if fall else -np.inf,
        "untold": fall is None,
        "fall": bool(fall and fall.named),
    }


def told(i: int, *, n_boxes: int = N_BOXES, n_draws: int = N_DRAWS, n_weighed: int | None = None) -> dict[str, Any]:
    """Return what is told of importer i's seller after one and two new boxes, fallen or not."""
    reference = load_reference()
    importer = draw_importer(reference, n_boxes, rng=np.random.default_rng([SEED, i]), new_quarter=NEXT_QUARTER)
    importer, seller = of_one_seller(importer)
    truth = draw_truth(reference, importer.observations, rng=np.random.default_rng([SEED, i, 1]))
    known, box = importer.known, importer.observations.box

    def fit(observations: Observations) -> PosteriorDraws:
        return fit_boxes(observations, reference, n_draws=n_draws, n_weighed=n_weighed, seed=i).draws

    found: dict[str, Any] = {"world": WORLDS[i % len(WORLDS)]}
    with threadpool_limits(1):
        before: PosteriorDraws | None = None
        for name, sent in (("as ever", importer), ("fallen", fallen(importer))):
            counts = draw_outcomes(sent, truth, found["world"], rng=np.random.default_rng([SEED, i, 2]))
            before = (
                fit(observe(importer.lines[known], counts[known], reference).observations) if before is None else before
            )
            for n in NEW:
                new = ~known & (box < n_boxes + n)
                rows = known | new
                observed = observe(importer.lines[rows], counts[rows], reference)
                draws = fit(observed.observations)
                worse, odds = chance_worse(draws, seller)
                falls = found_falls(
                    observed, draws, n, quarters=importer.lines["quarter"][rows], seller=seller, fit=fit
                )
                ratio = log_ratio(importer.lines[new], counts[new], before, reference)
                found[f"{name}, {n}"] = {"chance worse": worse, "odds": odds, "likelihood ratio": ratio} | falls
    return found


def summarise(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return how often a fallen seller is named, with its 95 % interval (Clopper & Pearson), by boxes and statistic.

    The rule of a seller's page too, with how often it names a seller who has not changed.
    """
    result: dict[str, Any] = {"importers": len(rows)}
    for n in NEW:
        cell: dict[str, Any] = {}
        for name in STATISTICS:
            ever, fell = (np.array([row[f"{world}, {n}"][name] for row in rows]) for world in ("as ever", "fallen"))
            bound = float(np.quantile(ever, 1.0 - FALSE_ALARMS, method="higher"))
            cell[name] = {"named": _share(fell > bound), "bound": round(bound, 3)}
        cell["page"] = {
            world: _share(np.array([_says(row[f"{world}, {n}"]) for row in rows])) for world in ("as ever", "fallen")
        }
        every = [row[f"{world}, {n}"] for row in rows for world in ("as ever", "fallen")]
        cell["not told"] = _share(np.array([one["untold"] for one in every]))
        cell["too few draws of the fit of all"] = _share(np.array([not one["sure"] for one in every]))
        result[f"{n} new"] = cell
    return result


def _says(found: dict[str, Any]) -> bool:
    """Return whether a seller's page says that it gets worse, or that its newest boxes came as after a fall."""
    return bool((found["chance worse"] >= SURE and found["odds"] > 1.0) or found["fall"])


def _share(named: NDArray[np.bool_]) -> dict[str, float]:
    interval = stats.binomtest(int(named.sum()), len(named)).proportion_ci(0.95)
    return {"share": round(float(named.mean()), 3), "low": round(interval.low, 3), "high": round(interval.high, 3)}


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    """Return a row as it is stored: what is not told as null."""
    cells = {name: cell for name, cell in row.items() if isinstance(cell, dict)}
    return row | {name: {key: _rounded(value) for key, value in cell.items()} for name, cell in cells.items()}


def _rounded(value: float | bool) -> float | bool | None:
    return value if isinstance(value, bool) else round(value, 3) if np.isfinite(value) else None


def table(result: dict[str, Any]) -> str:
    """Return a stored result as Markdown."""
    lines = ["| new boxes | by | named, fallen (95 %) | named, as ever |", "|---|---|---|---|"]
    for n in NEW:
        cell = result[f"{n} new"]
        for name in STATISTICS:
            lines.append(f"| {n} | {name} | {_told(cell[name]['named'])} | 5 %, set so |")
        page = cell["page"]
        lines.append(f"| {n} | the seller's page | {_told(page['fallen'])} | {_told(page['as ever'])} |")
    return "\n".join(lines)


def _told(share: dict[str, float]) -> str:
    return f"{100 * share['share']:.0f} % ({100 * share['low']:.0f}-{100 * share['high']:.0f})"


def main() -> None:
    """Run the study, or with --table print its last result."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--importers", type=int, default=N_IMPORTERS)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--table", action="store_true", help="print the last result and run nothing")
    options = parser.parse_args()
    if not options.table:
        rows = list(Parallel(options.processes)(delayed(told)(i) for i in range(options.importers)))
        write(
            NAME,
            {
                **summarise(rows),
                "rows": [_plain(row) for row in rows],
                "seed": SEED,
                "model": model_digest(),
                **versions(),
            },
        )
    print(table(read(NAME)))  # noqa: T201 - a command's answer


if __name__ == "__main__":
    main()
