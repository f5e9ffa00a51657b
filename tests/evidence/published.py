"""Published findings beside what the model says to them, before it has seen a box.

Most published figures are of leaf injury or of marketable life, not of death, so they test direction, order and
rough size. What the tables were made from is marked: agreement there shows that nothing was lost on the way, not that
the model is right.
"""

from collections.abc import Callable, Iterator
from itertools import product

import numpy as np
from scipy.signal import find_peaks

from model.exposure import Box, conductance_w_per_k, inside_air
from model.exposure.box import step_inside
from model.exposure.damage import extreme_rate
from model.reference.constants import CONSTANTS
from model.reference.row_types import Service
from model.reference.tables import load_reference
from model.transit.delay import MissedFlights
from model.transit.transit import TransitQuantiles, solve_transit
from tests.evidence.finding import Finding, chances, percent, two_weeks, verdict
from tests.model.chilling_lists import HARMED, UNHARMED

REFERENCE = load_reference()
COLD_C = (2.2, 5.0, 7.8)
# Best shipping temperatures for short trips, °C, as printed in a trade handbook after AH-66.
SHIPPED_C = {
    "Aglaonema": (16, 18), "Codiaeum": (16, 18), "Cordyline": (16, 18), "Chamaedorea": (13, 16),
    "Chrysalidocarpus": (13, 18), "Ardisia": (10, 13), "Aspidistra": (10, 13), "Schefflera": (10, 13),
}  # fmt: skip
FOLIAGE = (
    "Aglaonema",
    "Dieffenbachia",
    "Dracaena",
    "Epipremnum",
    "Ficus",
    "Philodendron",
    "Schefflera",
    "Spathiphyllum",
)


def chilling() -> Iterator[Finding]:
    """Yield findings on cold above freezing."""
    source = "Poole & Conover 1993, Univ. of Florida RH-93-6"
    mean = {name: float(np.mean([two_weeks(name, 4.0, c) for c in COLD_C])) for name in (*HARMED, *UNHARMED)}
    pairs = list(product(HARMED, UNHARMED))
    right = [(bad, good) for bad, good in pairs if mean[bad] < mean[good]]
    yield Finding(
        "chilling, order of genera",
        source,
        f"in the dark for 1 to 4 days at 2.2 to 7.8 °C, {len(HARMED)} genera were harmed and {len(UNHARMED)} were not",
        f"the harmed one fares worse in {len(right)} of {len(pairs)} pairs",
        verdict(len(right) == len(pairs), ", ".join(f"{b} not below {g}" for b, g in pairs if (b, g) not in right)),
        True,
    )
    rows = {name: REFERENCE.find_genus(name)[0] for name in SHIPPED_C}
    threshold = {name: row.chill_threshold_c for name, row in rows.items() if row is not None}
    pairs = [(a, b) for a, b in product(SHIPPED_C, repeat=2) if _colder(SHIPPED_C[a], SHIPPED_C[b])]
    wrong = [(a, b) for a, b in pairs if threshold[a] > threshold[b]]
    tied = [(a, b) for a, b in pairs if threshold[a] == threshold[b]]
    yield Finding(
        "chilling, order of thresholds",
        "USDA AH-66 type table, reproduced in a trade handbook",
        f"best temperatures for short trips of {len(SHIPPED_C)} genera",
        f"thresholds in that order in {len(pairs) - len(wrong) - len(tied)} of {len(pairs)} pairs, {len(tied)} tied",
        verdict(not wrong, ", ".join(f"{a} above {b}" for a, b in wrong)),
        True,
    )
    injured = {c: two_weeks("Aglaonema", 1.0, 18.0) - two_weeks("Aglaonema", 1.0, c) for c in (1.7, 7.2, 12.8)}
    published = {1.7: 0.384, 7.2: 0.124, 12.8: 0.053}
    yield Finding(
        "chilling, size",
        "Chen et al. 2001, J. Environ. Hort. 19:198 (means derived)",
        "Aglaonema, 24 h: leaves injured ten days on, "
        + ", ".join(f"{percent(share)} at {c} °C" for c, share in published.items()),
        "plants lost or spoilt two weeks on, beside the same day at 18 °C: "
        + ", ".join(f"{percent(share)} at {c} °C" for c, share in injured.items()),
        verdict(
            all(0.5 <= injured[c] / published[c] <= 2.0 for c in published),
            "by more than a factor of two; leaves are not plants",
        ),
        False,
    )
    lost = {
        c: two_weeks("Spathiphyllum", 5.0, 18.0) - two_weeks("Spathiphyllum", 5.0, c) for c in (3.3, 7.2, 10.0, 11.1)
    }
    yield Finding(
        "chilling, threshold",
        "Qu et al. 2000, Proc. Fla. State Hort. Soc.",
        "Spathiphyllum for 2 to 10 days: slight necrosis to death at 3.3 and 7.2 °C, nothing visible at 10 and 11.1 °C",
        "lost or spoilt after 5 days, beside 18 °C: "
        + ", ".join(f"{percent(share)} at {c} °C" for c, share in lost.items()),
        verdict(
            min(lost[3.3], lost[7.2]) > 0.05 and max(lost[10.0], lost[11.1]) < 0.03,
            "harm where none was seen, or none where it was",
        ),
        False,
    )
    names = ("Dracaena", "Spathiphyllum")
    at_once = float(np.mean([chances(name, 2.0, 18.0) - chances(name, 2.0, 3.0) for name in names]))
    later = float(np.mean([two_weeks(name, 2.0, 18.0) - two_weeks(name, 2.0, 3.0) for name in names]))
    yield Finding(
        "chilling, latent",
        source,
        "Dracaena marginata and Spathiphyllum after 1 to 4 days: nothing visible 5 days later, damage after 2 weeks",
        f"2 days at 3 °C cost {percent(at_once)} at unboxing and {percent(later)} two weeks on",
        verdict(
            later > 2.0 * at_once and at_once < 0.05,
            "a part of the harm is given out as visible at unboxing, where nothing was seen",
        ),
        True,
    )


def _colder(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return one != other and one[0] <= other[0] and one[1] <= other[1]


def ageing() -> Iterator[Finding]:
    """Yield findings on warmth, time and roots."""
    row = REFERENCE.prior_scales["q10_less_one"]
    low, q10, high = (1.0 + row.median * float(np.exp(z * (row.sd_log or 0.0))) for z in (-1.2816, 0.0, 1.2816))
    source, said = (
        "Enfield 2011 in Faust et al., Hort. Reviews 44",
        f"{q10:.1f} at all temperatures (80 %: {low:.1f} to {high:.1f})",
    )
    yield Finding(
        "ageing, warm", source, "Q10 of cuttings 1.3 to 2.1 at 20 to 25 °C", said, verdict(1.3 <= q10 <= 2.1), True
    )
    yield Finding(
        "ageing, cool",
        source,
        "Q10 of cuttings 2.0 to 3.4 at 10 to 15 °C",
        said,
        verdict(q10 >= 2.0, "one Q10 for all temperatures: the model makes too little of cool air above the threshold"),
        False,
    )
    kept = [chances(name, 5.0, 17.0) for name in FOLIAGE]
    yield Finding(
        "boxed foliage by truck",
        "researcher quoted in the Washington Post, 13 Apr 1980",
        "dark, up to 5 days: all but about 5 % acceptable",
        f"{percent(1 - float(np.mean(kept)))} not healthy after 5 days at 17 °C, mean of {len(FOLIAGE)} genera",
        verdict(float(np.mean(kept)) >= 0.9, "more loss; those travelled in pots"),
        False,
    )
    ficus = chances("Ficus", 21.0, 17.0)
    yield Finding(
        "three weeks in the dark",
        "abstract, authors not shown: bare-root Ficus benjamina",
        "up to 3 weeks: under 20 % leaf loss in two cultivars, far worse in a third",
        f"{percent(1 - ficus)} of Ficus not healthy after 21 days at 17 °C",
        verdict(1 - ficus < 0.35, "far more loss: leaves are not plants, and the rules of thumb are of aroids"),
        False,
    )
    dead = chances("Hoya", 1.0, 16.0, "dead", roots="dry")
    yield Finding(
        "dry roots",
        "Pemberton & Roberson 1990, HortScience 25:863",
        "bare-root roses drying in open air at 16 °C: no effect after 7 h, 44 % lost after 24 h",
        f"{percent(dead)} of Hoya with dry roots dead after a day in a closed box at 16 °C",
        "cannot be compared: open air against a closed box, shrubs against succulent leaves",
        True,
    )


def extremes() -> Iterator[Finding]:
    """Yield findings on heat and frost."""
    hour = chances("Philodendron", 1.0, 20.0) - chances("Philodendron", 1.0 + _days_at(46.6, 1.0), 20.0)
    yield Finding(
        "heat for an hour",
        "Hansen, Hara & Tenbrink, HortScience",
        "46.6 °C for 1 h: most foliage unharmed",
        f"costs {percent(hour)} of Philodendron beside the journey",
        verdict(hour < 0.2),
        True,
    )
    yield Finding(
        "heat by genus",
        "the same",
        "Anthurium and orchids very sensitive to that hour",
        "heat harms every genus alike",
        verdict(False, "the model has no sensitivity to heat by genus"),
        False,
    )
    half = chances("Philodendron", 1.0 + _days_at(53.0, 0.5), 20.0)
    yield Finding(
        "lethal heat",
        "Krause et al. 2010",
        "leaves of two tropical trees die at 50 to 53 °C",
        f"{percent(half)} healthy after half an hour at 53 °C",
        verdict(half < 0.5, "too mild"),
        True,
    )
    ratio = float(np.log10(extreme_rate(np.array([50.0]))[0] / extreme_rate(np.array([46.0]))[0]) / 4.0)
    yield Finding(
        "heat, slope",
        "from memory",
        "tenfold faster each 2 to 5 °C",
        f"tenfold each {1 / ratio:.1f} °C",
        verdict(2.0 <= 1 / ratio <= 5.0),
        True,
    )
    frost = chances("Philodendron", min(1.0 + float(extreme_rate(np.array([-2.5]))[0]) / 24.0, 90.0), 20.0)
    yield Finding(
        "frost",
        "from memory",
        "tropical leaves freeze at about -1 to -2 °C",
        f"{percent(frost)} healthy after an hour at -2.5 °C",
        verdict(frost < 0.1, "too mild"),
        True,
    )


def _days_at(inside_c: float, hours: float) -> float:
    """Return what some hours of heat cost, in days at 20 °C."""
    return float(extreme_rate(np.array([inside_c]))[0]) * hours / 24.0


def boxes() -> Iterator[Finding]:
    """Yield findings on the box and what is in it."""
    foam = REFERENCE.containers["foam_box"].conductivity_w_per_mk
    yield Finding(
        "foam",
        "ASTM C578 data sheet",
        "EPS at 24 °C: 0.0332 to 0.0375 W/m.K by type",
        f"{foam:.4f} W/m.K",
        verdict(0.0332 <= foam <= 0.0375),
        True,
    )
    source = "Friedman & Rot 2005, ARO Volcani"
    box, inside, minutes = _packed("cuttings_box"), np.array(5.0), 0
    while inside < 5.0 + 0.95 * 18.0:
        inside, minutes = step_inside(inside, np.array(23.0), 0.0, box.decay(1 / 60)), minutes + 1
    yield Finding(
        "box response",
        source,
        "boxes of cuttings, from 5 to 22-24 °C: there in 4 to 6 h",
        f"95 % of the way in {minutes / 60:.1f} h",
        verdict(4.0 <= minutes / 60 <= 6.0),
        True,
    )
    cooled = 35.0 - float(inside_air(np.full(72, 35.0), _packed("foam_box", cold_packs=4), 35.0).min())
    yield Finding(
        "ice",
        source,
        "ice packs keep the inside only 5 to 8 °C cooler",
        f"{cooled:.1f} °C at most, in air of 35 °C",
        verdict(5.0 <= cooled <= 8.0),
        True,
    )
    watts = _packed("foam_box", heat_pack_hours=72, heat_packs=1).heat_pack_w
    yield Finding(
        "heat pack",
        "824 kJ per mol Fe2O3 (enthalpy from memory)",
        "100 g of iron over 72 h: 2.8 W",
        f"{watts:.1f} W",
        verdict(abs(watts - 2.8) < 0.15),
        True,
    )


def _packed(container: str, *, heat_pack_hours: float = 0, heat_packs: int = 0, cold_packs: int = 0) -> Box:
    row = REFERENCE.containers[container]
    ua = conductance_w_per_k(row.length_m, row.width_m, row.height_m, row.wall_m, row.conductivity_w_per_mk)
    return Box(ua, row.heat_capacity_j_per_k, heat_pack_hours, heat_packs, cold_packs)


def carriage() -> Iterator[Finding]:
    """Yield findings on air cargo, and on papers and notices."""
    cargo = REFERENCE.services["air_cargo"]
    yield Finding(
        "air cargo, punctual",
        "Cargo iQ figures in CLECAT newsletter, 5 Sep 2025",
        "ready when planned: 77 % (57 to 94 % by airline)",
        f"{percent(1 - cargo.delay_share)} without a missed flight",
        verdict(0.57 <= 1 - cargo.delay_share <= 0.94),
        True,
    )
    n_humps = _humps(cargo)
    yield Finding(
        "air cargo, shape",
        "Shang, Dunson & Song 2017, Operations Research 65",
        "deviations strongly multimodal, driven by missed flights",
        f"{n_humps} humps, of flights {cargo.flight_interval_days:g} days apart",
        verdict(n_humps > 1, "one hump"),
        True,
    )
    yield Finding(
        "air cargo, door to door",
        "Cargo iQ 2017; IATA 2014",
        "all goods: 5.3 to 5.4 days (2016), 6 to 7 days (2014)",
        f"{cargo.p50_days} days at the median, {cargo.p90_days} late",
        verdict(
            cargo.p50_days >= 5.0, "half as long: cleared and collected by the importer the same day (common practice)"
        ),
        False,
    )
    yield Finding(
        "cuttings, door to door",
        "Faust, Dole & Lopez, Hort. Reviews 44",
        "harvest to grower 48 to 72 h with inspection at the airport, up to a week",
        f"air cargo {cargo.p10_days} to {cargo.p90_days} days (80 %)",
        verdict(cargo.p10_days <= 3.0 <= cargo.p90_days <= 7.0),
        False,
    )
    for topic, says, own, wanted in (
        ("notice of damage", "in writing within 14 days of receipt", CONSTANTS.carrier_damage_notice_days, 14),
        ("notice of delay", "in writing within 21 days", CONSTANTS.carrier_delay_notice_days, 21),
    ):
        yield Finding(
            topic, "Montreal Convention 1999, Article 31(2)", says, f"{own:g} days", verdict(own == wanted), True
        )


def _humps(service: Service) -> int:
    """Return how many humps the density of a service's times has between 1.6 and 7 days."""
    assert service.flight_interval_days is not None
    assert service.again_share is not None
    delay = MissedFlights(service.delay_share, service.flight_interval_days, service.again_share)
    quantiles = TransitQuantiles(service.p10_days, service.p50_days, service.p90_days)
    density = np.diff(solve_transit(quantiles, delay, service.min_days).transit.cdf(np.linspace(1.6, 7.0, 2001)))
    top = find_peaks(density, prominence=0.01 * density.max())[0]
    return len(top)


SECTIONS: tuple[Callable[[], Iterator[Finding]], ...] = (chilling, ageing, extremes, boxes, carriage)


def findings() -> list[Finding]:
    """Return all findings."""
    return [finding for section in SECTIONS for finding in section()]


def report() -> str:
    """Return the table as Markdown."""
    found = findings()
    told = [one.verdict.partition(":")[0] for one in found]
    own = [one for one in found if not one.used]
    lines = [
        "# Published findings beside the model",
        "",
        "`python -m tests.evidence published` (seconds; no seed but the rules' own): what the model says before it has",
        "seen a box.",
        *(__doc__ or "").strip().split("\n")[1:],
        "",
        f"{told.count('agrees')} of {len(found)} agree, {told.count('disagrees')} do not and stand here all the same; "
        f"of the {len(own)} from which no table was made, {sum(one.verdict == 'agrees' for one in own)} agree.",
        "",
        "| what | source | it says | the model says | | a table was made from it |",
        "|---|---|---|---|---|---|",
        *("| " + " | ".join((*one[:-1], "yes" if one.used else "no")) + " |" for one in found),
    ]
    return "\n".join(lines) + "\n"
