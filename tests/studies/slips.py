"""Are slips of the pen found, and right records left alone: ``python -m tests.studies.slips``.

Invented importers keep a ledger of 30 or 80 boxes: once right, once with slips planted (°F in the column of °C, a date
a month off, healthy and dead swapped). Both go through the CSV file, the fit and the check of records. The truth is not
the model: journeys are those of boxes insulated otherwise, in weather that is warmer or colder, with days of another
distribution; what becomes of plants is log-logistic, in heavy-tailed boxes, or by lots that share a fate.
"""

import argparse
import csv
import io
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from app.doubts.journeys import LikelyJourneys
from app.doubts.screening import CheckedRecords, screen
from app.doubts.slips import FAHRENHEIT, MONTH, SWAPPED
from app.ledger.imports import import_csv
from app.recorded.recorded_boxes import recorded_lines
from app.store import Database, read_arrived, read_logger
from model.exposure.table import constant_log_days
from model.fit.lines import LINE_DTYPE, observe
from model.fit.survival import TransitSurvival
from model.predict import draw_prior_posterior
from model.reference.tables import Reference, load_reference
from model.synthetic import draw_truth
from tests.studies.importers import Importer
from tests.studies.record import model_digest, read, versions, write
from tests.studies.truths import draw_outcomes

Array = NDArray[np.float64]

NAME = "slips.json"
SEED = 1913
# Thresholds and shares were judged before, and looked at on importers of this seed only.
CALIBRATION_SEED = 77
SIZES = (30, 80)
N_IMPORTERS = 20
N_DRAWS, N_WEIGHED = 1024, 1024
TRUTHS = ("log-logistic tolerance", "heavy-tailed boxes", "lots that share a fate")
LANES = (("BKK", "DUB"), ("BKK", "AMS"), ("UIO", "YYZ"), ("CGK", "FRA"))
SERVICES = ("courier", "post", "air_cargo")
# Mean days of a box by service and how they spread: a gamma, and a customs hold for one box in twelve.
DAYS = {"courier": (5.5, 8.0), "post": (11.0, 8.0), "air_cargo": (3.6, 7.0)}
HOLD_SHARE, HOLD_DAYS = 1.0 / 12.0, 4.0
LOGGED_SHARE = 0.5
FAULTY_SHARE, SWAPPED_SHARE = 1.0 / 15.0, 0.05
# A logger lies near the lid or among the plants; the lane's air is not what the table says.
OFFSET_SD_C, CLIMATE_SD_C = 2.5, 3.0
WARMEST_F = 60.0
LINES_A_BOX, PLANTS_A_LINE = 3, 12
HEADER = (
    "shipment", "seller", "service", "origin", "destination", "container", "roots", "heat_pack_hours", "ship_date",
    "arrival_date", "inside_temp_c", "genus", "cultivar", "sent", "healthy", "damaged", "dead",
)  # fmt: skip
NOW = datetime(2026, 11, 1, tzinfo=UTC)
FIRST_DAY = date(2024, 1, 8)


@dataclass(frozen=True, slots=True)
class Box:
    """What a box's rows say: places, packing, dates, a logger's mean (None: not logged) and counts by line."""

    name: str
    seller: str
    service: str
    lane: tuple[str, str]
    container: str
    ship_date: date
    arrival_date: date
    inside_c: float | None
    true_c: float
    genera: tuple[str, ...]
    counts: tuple[tuple[int, int, int, int], ...]

    def rows(self) -> list[list[object]]:
        """Return its rows in the file."""
        temperature = "" if self.inside_c is None else f"{self.inside_c:.1f}"
        shared = [self.name, self.seller, self.service, *self.lane, self.container, "damp_wrap", 0]
        return [
            [*shared, self.ship_date, self.arrival_date, temperature, genus, "", sent, healthy, damaged, dead]
            for genus, (healthy, damaged, dead, sent) in zip(self.genera, self.counts, strict=True)
        ]


def draw_boxes(n_boxes: int, truth_name: str, reference: Reference, *, rng: np.random.Generator) -> list[Box]:
    """Return the boxes of an invented importer, rightly recorded."""
    names = sorted(reference.genera)
    genera = [names[i] for i in rng.choice(len(names), 12, replace=False)]
    sellers = [f"Nursery {letter}" for letter in "ABCD"]
    warmer = {lane: CLIMATE_SD_C * rng.standard_normal() for lane in LANES}
    boxes = []
    for i in range(n_boxes):
        lane = LANES[rng.integers(2 + n_boxes // 30) % len(LANES)]
        service = SERVICES[rng.choice(3, p=(0.5, 0.2, 0.3))]
        mean, shape = DAYS[service]
        days = rng.gamma(shape, mean / shape) + (rng.exponential(HOLD_DAYS) if rng.random() < HOLD_SHARE else 0.0)
        ship = FIRST_DAY + timedelta(int(rng.integers(900)))
        arrival = ship + timedelta(max(round(days), 1))
        boxes.append(
            Box(
                name=f"box {i}",
                seller=sellers[rng.integers(4)],
                service=service,
                lane=lane,
                container=("foam_box", "lined_carton", "carton")[rng.choice(3, p=(0.6, 0.25, 0.15))],
                ship_date=ship,
                arrival_date=arrival,
                inside_c=None,
                true_c=0.0,
                genera=tuple(genera[k] for k in rng.choice(12, LINES_A_BOX, replace=False)),
                counts=((0, 0, 0, PLANTS_A_LINE),) * LINES_A_BOX,
            )
        )
    boxes = [replace(box, true_c=_true_c(box, warmer[box.lane], reference, rng)) for box in boxes]
    return _counted(boxes, truth_name, reference, rng)


def _true_c(box: Box, warmer: float, reference: Reference, rng: np.random.Generator) -> float:
    """Return the true mean inside: by the normals of the two ends, with the truth's own shares of them."""
    origin, destination = (reference.places[code] for code in box.lane)
    months = box.ship_date.month - 1, box.arrival_date.month - 1
    ends = [0.5 * (place.tmin_c[month] + place.tmax_c[month]) for place, month in
            zip((origin, destination), months, strict=True)]  # fmt: skip
    share = rng.uniform(0.25, 0.6)
    heated = 0.3 * (18.0 - ends[1])  # sheds and vans are warmer than the street in winter, cooler in summer
    return float(share * ends[0] + (1.0 - share) * (ends[1] + heated) + warmer + OFFSET_SD_C * rng.standard_normal())


def _counted(boxes: list[Box], truth_name: str, reference: Reference, rng: np.random.Generator) -> list[Box]:
    """Return the boxes with counts by a truth, and with loggers in some."""
    lines, days, inside = _lines_at(boxes, reference)
    counts = np.full((len(lines), 4), np.nan)
    counts[:, 3] = 1.0 + rng.poisson(PLANTS_A_LINE - 1, len(lines))
    observed = observe(lines, counts, reference)
    assert (observed.order == np.arange(len(lines))).all()
    importer = Importer(lines, observed.observations, np.ones(len(lines), dtype=bool), days, inside)
    truth = draw_truth(reference, observed.observations, rng=rng)
    drawn = draw_outcomes(importer, truth, truth_name, rng=rng).astype(int)
    logged = rng.random(len(boxes)) < LOGGED_SHARE
    found = []
    for i, box in enumerate(boxes):
        rows = drawn[i * LINES_A_BOX : (i + 1) * LINES_A_BOX].tolist()
        own = tuple((healthy, damaged, dead, sent) for healthy, damaged, dead, sent in rows)
        found.append(replace(box, counts=own, inside_c=box.true_c if logged[i] else None))
    return found


def _lines_at(boxes: Sequence[Box], reference: Reference) -> tuple[Any, Array, Array]:
    """Return lines whose exposure is the true mean held for the true days, (lines,) each."""
    n = len(boxes) * LINES_A_BOX
    lines = np.empty(n, dtype=LINE_DTYPE)
    own = np.repeat(np.arange(len(boxes)), LINES_A_BOX).tolist()
    lines["shipment"] = [f"{i:04d}" for i in own]
    lines["genus"] = [genus for box in boxes for genus in box.genera]
    lines["cultivar"], lines["roots"], lines["seller_kind"] = None, "damp_wrap", None
    for name in ("container", "service", "seller"):
        lines[name] = [getattr(boxes[i], name) for i in own]
    lines["quarter"] = [4 * boxes[i].ship_date.year + (boxes[i].ship_date.month - 1) // 3 for i in own]
    rows = [reference.genera[name] for name in lines["genus"]]
    threshold = np.array([row.chill_threshold_c for row in rows])
    sensitivity = np.array([reference.chill_classes[row.chill_class].sensitivity for row in rows])
    days = np.array([float(max((boxes[i].arrival_date - boxes[i].ship_date).days, 1)) for i in own])
    inside = np.array([boxes[i].true_c for i in own])
    lines["log_days"] = constant_log_days(inside, days, threshold, sensitivity)
    lines["log_days_variance"] = 0.0
    return lines, days, inside


def plant(boxes: list[Box], *, rng: np.random.Generator) -> tuple[list[Box], dict[str, str]]:
    """Return the boxes with slips, and the slip of each box that has one, by name."""
    n_each = max(round(FAULTY_SHARE * len(boxes)), 1)
    cool = [i for i, box in enumerate(boxes) if box.inside_c is not None and 32.0 + 1.8 * box.inside_c <= WARMEST_F]
    slips: dict[int, str] = dict.fromkeys((cool[k] for k in rng.permutation(len(cool))[:n_each]), FAHRENHEIT)
    rest = [int(i) for i in rng.permutation(len(boxes)) if i not in slips]
    slips |= dict.fromkeys(rest[:n_each], MONTH)
    # Half and half healthy and dead, swapped, is nothing that anyone could see: it is planted all the same.
    slips |= dict.fromkeys(rest[n_each : n_each + max(round(SWAPPED_SHARE * len(boxes)), 1)], SWAPPED)
    return [_slipped(box, slips.get(i), rng) for i, box in enumerate(boxes)], {
        boxes[i].name: slip for i, slip in slips.items()
    }


def _slipped(box: Box, slip: str | None, rng: np.random.Generator) -> Box:
    if slip == FAHRENHEIT:
        assert box.inside_c is not None
        return replace(box, inside_c=32.0 + 1.8 * box.inside_c)
    if slip == MONTH:
        if rng.random() < 0.5:
            return replace(box, ship_date=_month_on(box.ship_date, -1))
        return replace(box, arrival_date=_month_on(box.arrival_date, 1))
    if slip == SWAPPED:
        return replace(box, counts=tuple((dead, damaged, healthy, sent) for healthy, damaged, dead, sent in box.counts))
    return box


def _month_on(day: date, step: int) -> date:
    month = day.month - 1 + step
    there = min(day.day, 28)
    return date(day.year + month // 12, month % 12 + 1, there)


def looked_at(
    boxes: Sequence[Box], reference: Reference, seed: int, n_weighed: int = N_WEIGHED
) -> tuple[dict[str, str], bool]:
    """Return the code of each box that the check names, after import and fit, and whether the fit stands.

    Where it does not, the rules of thumb serve on and the check is by them.
    """
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(HEADER)
    table.writerows(row for box in boxes for row in box.rows())
    with tempfile.TemporaryDirectory() as place, threadpool_limits(1):
        database = Database(f"sqlite:///{Path(place) / 'ledger.db'}")
        database.prepare()
        import_csv(text.getvalue().encode(), database, reference, replace=False, now=NOW)
        with database.reading() as connection:
            ledger, logger = read_arrived(connection), read_logger(connection)
        table_of = recorded_lines(ledger, logger, reference)
        observed = observe(table_of.lines, table_of.counts, reference)
        fit = TransitSurvival(reference, n_draws=N_DRAWS, n_weighed=n_weighed, random_state=seed)
        try:
            draws, fitted = fit.fit_observations(observed.observations).draws_, True
        except (ArithmeticError, RuntimeError, ValueError):
            draws, fitted = draw_prior_posterior(reference, N_DRAWS, seed=seed), False
        index = np.arange(len(ledger.shipments.number))
        recorded = CheckedRecords(ledger, logger, {}, np.full(len(index), fitted))
        found = screen(recorded, index, draws, LikelyJourneys(ledger.shipments, reference))
        database.close()
    return {boxes[doubt.shipment].name: doubt.code for doubt in found.doubts}, fitted


def importer(n_boxes: int, i: int, *, seed: int = SEED, n_weighed: int = N_WEIGHED) -> dict[str, Any]:
    """Return what is found of importer i's slips, and how many right boxes are named in either ledger."""
    reference = load_reference()
    rng = np.random.default_rng([seed, n_boxes, i])
    boxes = draw_boxes(n_boxes, TRUTHS[i % len(TRUTHS)], reference, rng=rng)
    faulty, slips = plant(boxes, rng=rng)
    clean, clean_fit = looked_at(boxes, reference, i, n_weighed)
    named, faulty_fit = looked_at(faulty, reference, i, n_weighed)
    return {
        "truth": TRUTHS[i % len(TRUTHS)],
        "boxes": n_boxes,
        "planted": dict(Counter(slips.values())),
        "named": dict(Counter(slip for name, slip in slips.items() if name in named)),
        "told rightly": dict(Counter(slip for name, slip in slips.items() if named.get(name) == slip)),
        "false in clean": len(clean),
        "false in clean by code": dict(Counter(clean.values())),
        "false beside slips": sum(name not in slips for name in named),
        "fits refused": [not clean_fit, not faulty_fit],
    }


def summarise(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return the shares over importers."""
    planted, named, right, codes = Counter[str](), Counter[str](), Counter[str](), Counter[str]()
    for row in rows:
        planted.update(row["planted"])
        named.update(row["named"])
        right.update(row["told rightly"])
        codes.update(row["false in clean by code"])
    n_clean = sum(row["boxes"] for row in rows)
    n_beside = n_clean - sum(planted.values())
    return {
        "importers": len(rows),
        "planted": dict(planted),
        "named": {slip: round(named[slip] / n, 3) for slip, n in planted.items()},
        "told rightly": {slip: round(right[slip] / n, 3) for slip, n in planted.items()},
        "fits refused, clean and with slips": [sum(row["fits refused"][k] for row in rows) for k in (0, 1)],
        "false in clean": round(sum(row["false in clean"] for row in rows) / n_clean, 4),
        "false in clean by code": dict(codes),
        "false beside slips": round(sum(row["false beside slips"] for row in rows) / n_beside, 4),
    }


def table(result: dict[str, Any]) -> str:
    """Return a stored result as Markdown."""
    lines = [
        "| boxes | importers | °F named | month named | swap named | right boxes named, clean ledgers | beside slips |",
        "|---|---|---|---|---|---|---|",
    ]
    for size, cell in sorted(result.get("cells", {}).items(), key=lambda item: int(item[0])):
        shares = [f"{100 * cell['named'].get(slip, 0.0):.0f}% of {cell['planted'].get(slip, 0)}"
                  for slip in (FAHRENHEIT, MONTH, SWAPPED)]  # fmt: skip
        false = [f"{100 * cell[name]:.1f}%" for name in ("false in clean", "false beside slips")]
        lines.append(f"| {size} | {cell['importers']} | {' | '.join([*shares, *false])} |")
    return "\n".join(lines)


def main() -> None:
    """Run the study, or with --table print its last result; importers already in the result are kept."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--first", type=int, default=0, help="the first importer: the next run can go on from there")
    parser.add_argument("--importers", type=int, default=N_IMPORTERS)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--table", action="store_true", help="print the last result and run nothing")
    options = parser.parse_args()
    about = {"seed": options.seed, "model": model_digest(), **versions()}
    for n_boxes in () if options.table else options.sizes:
        rows = []
        start = time.perf_counter()
        for i in range(options.first, options.first + options.importers):
            rows.append(importer(n_boxes, i, seed=options.seed))
            print(n_boxes, i, rows[-1], flush=True)  # noqa: T201 - a command's answer
            if options.seed != SEED:
                continue
            stored = read(NAME)
            kept = {} if options.first == 0 else stored.get("rows", {}).get(str(n_boxes), {})
            by_importer = {**kept, **{str(options.first + k): row for k, row in enumerate(rows)}}
            seconds = round(time.perf_counter() - start)
            cell = {**summarise(list(by_importer.values())), "seconds": seconds, **about}
            write(NAME, {
                "cells": {**stored.get("cells", {}), str(n_boxes): cell},
                "rows": {**stored.get("rows", {}), str(n_boxes): by_importer},
            })  # fmt: skip
        print(summarise(rows))  # noqa: T201
    print(table(read(NAME)))  # noqa: T201


if __name__ == "__main__":
    main()
