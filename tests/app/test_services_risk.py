"""Risk of lines of plants: the three shapes of temperature, order, cautions, and agreement with comparing."""

import numpy as np
import pytest
from scipy import stats

from model.plant.plant import Plant
from model.plant.time_ratio import log_time_ratio
from tests.app.batches import COURIER, EVERY_DAY, Fields, compare, engine, fixed, line, risk

CHANCES = ("healthy", "damaged", "dead", "healthy_two_weeks")


def query(
    genus: str = "Anthurium", *, days: float = 6.0, temperature: Fields | None = None, **fields: object
) -> Fields:
    """Return a query; 20 °C in the box unless said."""
    return {"genus": genus, "transit_days": days, "temperature": temperature or {"inside_c": 20.0}} | fields


def codes(result: Fields) -> list[str]:
    """Return the codes of the cautions of a result."""
    return [caution["code"] for caution in result["cautions"]]


def daily(*days: tuple[float, float]) -> Fields:
    """Return outside air day by day."""
    return {"daily": [{"min_c": low, "max_c": high} for low, high in days]}


LANE = {"origin": "SRG", "destination": "GLA", "service": "courier"}


def test_results_stand_in_the_order_asked() -> None:
    genera = ["Fittonia", "Mammillaria", "Anthurium", "Scindapsus", "Agave"] * 40
    asked = [query(name, days=5.0 + i % 7) for i, name in enumerate(genera)]
    together = risk(*asked)
    assert len(together) == 200
    for i in (0, 1, 63, 64, 127, 128, 199):
        assert together[i] == risk(asked[i])[0]


def test_equal_queries_answer_equally_wherever_they_stand() -> None:
    lane = query(temperature=LANE, ship_date="2027-01-11")
    results = risk(query(), lane, query("Hoya"), query(), *[query("Hoya", days=3.0)] * 150, lane, query())
    assert results[0] == results[3] == results[-1]
    assert results[1] == results[-2]


def test_chances_add_to_one_and_intervals_hold_their_means() -> None:
    results = risk(
        *[query(g, days=d) for g in ("Fittonia", "Anthurium", "Mammillaria") for d in (0.5, 7.0, 15.0, 90.0)]
    )
    for result in results:
        assert sum(result[name]["mean"] for name in CHANCES[:3]) == pytest.approx(1.0, abs=1e-12)
        assert result["healthy_two_weeks"]["mean"] < result["healthy"]["mean"]
        for name in CHANCES:
            low, mean, high = (result[name][key] for key in ("low", "mean", "high"))
            assert 0.0 <= low <= high <= 1.0
            assert 0.0 <= mean <= 1.0


def test_constant_inside_against_the_formula_by_hand() -> None:
    """Effect by effect, and the box not yet seen on a dense grid: H = h0 + exp(eta), kappa (log D/7 - log TR0)."""
    draws, reference = engine().chance_draws, engine().reference
    p = draws.parameters
    genus = reference.genera["Anthurium"]
    assert draws.normals("threshold:Anthurium").max() * 2.0 + genus.chill_threshold_c < 26.0
    days = 9.0 * np.exp(p.log_q10 * 0.6)  # 26 °C is 6 above the reference of 20
    # A deviation from the table is Student's t with 4 degrees of freedom and the normal's middle 80 %.
    student = stats.t(4).ppf(stats.norm.cdf(draws.normals("genus:Anthurium")))
    student *= stats.norm.ppf(0.9) / stats.t(4).ppf(0.9)
    deviation = p.scales["genus_multiplier"] * 3.3 * genus.time_ratio_sd_log * student
    deviation = deviation + p.scales["cultivar"] * draws.normals("cultivar:Anthurium")
    deviation = deviation + 0.2 * draws.normals("service:") + 0.25 * draws.normals("seller_kind:exporter")
    deviation = deviation + p.scales["seller"] * draws.normals("seller:") + p.scales["drift"] * draws.normals("drift:")
    ratio = 1.35 * 0.85  # Anthurium, exporter
    assert np.exp(log_time_ratio(Plant(genus, seller_kind="exporter"), reference)) == pytest.approx(ratio)
    eta = p.alpha + deviation + p.kappa * (np.log(days / 7.0) - np.log(ratio))
    grid = np.linspace(-8.0, 8.0, 801)
    weight = stats.norm.pdf(grid) * (grid[1] - grid[0])
    hazard = np.exp(eta[:, None] + np.hypot(p.scales["shipment"], p.scales["line"])[:, None] * grid)
    healthy = np.exp(-(p.h0[:, None] + hazard)) @ weight
    dead = 1.0 - np.exp(-(p.h0[:, None] * np.exp(-0.7) + hazard * np.exp(-p.delta)[:, None])) @ weight
    # Lost whole: 0.01 healthy, 0.95 dead, by constants.csv.
    healthy, dead = ((1.0 - p.lost) * chance + p.lost * of for chance, of in ((healthy, 0.01), (dead, 0.95)))
    [result] = risk(query(days=9.0, temperature={"inside_c": 26.0}, seller_kind="exporter"))
    for name, chance in (("healthy", healthy), ("dead", dead)):
        assert result[name]["mean"] == pytest.approx(chance.mean(), abs=1e-3)
        assert result[name]["low"] == pytest.approx(np.quantile(chance, 0.1), abs=5e-3)
        assert result[name]["high"] == pytest.approx(np.quantile(chance, 0.9), abs=5e-3)
    assert result["equivalent_days"] == pytest.approx(np.median(days), rel=2e-3)


def test_equivalent_days_at_the_reference_temperature_are_days() -> None:
    [result] = risk(query(days=6.0))
    assert result["equivalent_days"] == pytest.approx(6.0, rel=1e-5)


@pytest.mark.parametrize(("days", "inside_c"), [(6.0, 20.0), (3.3, 31.0), (5.0, 6.0)])
def test_even_outside_air_is_the_same_as_constant_air_inside(days: float, inside_c: float) -> None:
    outside, inside = risk(
        query("Hoya", days=days, temperature=daily((inside_c, inside_c))),
        query("Hoya", days=days, temperature={"inside_c": inside_c}),
    )
    for name in CHANCES:
        assert outside[name] == pytest.approx(inside[name], abs=1e-4)


def test_last_day_repeats() -> None:
    short, long, first_only, turned = risk(
        query(days=6.0, temperature=daily((22, 31), (14, 16))),
        query(days=6.0, temperature=daily((22, 31), *[(14, 16)] * 7)),
        query(days=6.0, temperature=daily((22, 31))),
        query(days=6.0, temperature=daily((14, 16), (22, 31))),
    )
    assert short == long
    assert short["equivalent_days"] < turned["equivalent_days"] < first_only["equivalent_days"]


def test_heat_pack_helps_in_the_cold_and_hurts_in_the_heat() -> None:
    def healthy(temperature: Fields, hours: float) -> float:
        [result] = risk(query("Scindapsus", days=3.0, temperature=temperature, heat_pack_hours=hours))
        return float(result["healthy_two_weeks"]["mean"])

    cold, hot = daily((1, 6)), daily((27, 36))
    assert healthy(cold, 72) > healthy(cold, 0) + 0.1
    assert healthy(hot, 72) < healthy(hot, 0) - 0.01


@pytest.mark.parametrize(("service", "days"), [("courier", 5.0), ("courier", 9.0), ("air_cargo", 4.0)])
def test_lane_agrees_with_comparing_at_a_fixed_time(service: str, days: float) -> None:
    """Comparing draws boxes and plants; the share of 10,000 plants over 4,096 boxes errs by about 0.004."""
    [result] = risk(query("Philodendron", days=days, temperature=LANE | {"service": service}, ship_date="2027-01-11"))
    answer = compare(
        packing={"container": "foam_box", "roots": "damp_wrap", "capacity": 10_000},
        lines=[line("Philodendron", 10_000)],
        routes=[COURIER | {"service": service, "transit_days": fixed(days)}],
        draws=4096,
        **EVERY_DAY,
    )
    plants = answer.routes[0].plants
    for name in CHANCES:
        assert result[name]["mean"] == pytest.approx(getattr(plants, name).mean / 10_000, abs=0.02)
    assert result["equivalent_days"] == pytest.approx(answer.routes[0].equivalent_days.p50, rel=0.05)


def test_service_of_the_lane_is_taken_unless_another_is_named() -> None:
    unsaid, same, other = risk(
        *[query(temperature=LANE, ship_date="2027-01-11", service=s) for s in (None, "courier", "post")]
    )
    assert unsaid == same != other


@pytest.mark.parametrize(
    ("asked", "code", "words"),
    [
        (query("Anthurum"), "unknown_genus", "Anthurium"),
        (query("Calathea"), "old_name", "Goeppertia"),
        (query(seller="Invented Nursery"), "unknown_seller", "any seller"),
        (query(cultivar="Invented Red"), "unknown_cultivar", "Anthurium Invented Red"),
        (query(days=22.0), "extrapolation", "22 days"),
        (query(temperature={"inside_c": -3.0}), "extrapolation", "-3 °C"),
        (query(heat_pack_hours=40), "heat_pack_short", "40 h"),
        (query("Paphiopedilum"), "cites_possible", "Paphiopedilum"),
        (query("Dieffenbachia"), "irritant_sap", "Dieffenbachia"),
        (query(temperature=LANE | {"destination": "NOC"}, ship_date="2027-01-11"), "nearest_place", "NOC"),
    ],
)
def test_caution(asked: Fields, code: str, words: str) -> None:
    plain, result = risk(query("Peperomia"), asked)
    assert codes(plain) == ["no_own_record"]
    assert any(words in caution["text"] for caution in result["cautions"] if caution["code"] == code)


def test_misspelt_genus_is_an_answer_as_an_unknown_plant() -> None:
    misspelt, unheard = risk(query("Anthurum"), query("Qqqqqq"))
    assert {name: misspelt[name] for name in CHANCES} == {name: unheard[name] for name in CHANCES}
    assert misspelt["healthy"]["high"] - misspelt["healthy"]["low"] > 0.05


def test_ten_thousand_queries_are_answered() -> None:
    genera = list(engine().reference.genera)
    asked = [
        query(genera[i % len(genera)], days=1.0 + i % 89, temperature={"inside_c": 5.0 + i % 31}) for i in range(10_000)
    ]
    results = risk(*asked)
    assert len(results) == 10_000
    assert results[9_999] == risk(asked[9_999])[0]
