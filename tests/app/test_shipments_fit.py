"""What a fit reads of shipments that were planned and followed: exact times, traces, the weather forecast."""

from typing import Any

import numpy as np

from app.recorded.planned_journey import planned
from app.store.database import Database
from model.exposure.table import ExposureTable
from tests.app.batches import Fields, line
from tests.app.client import Client
from tests.app.conftest import ON_ONE_DATABASE
from tests.app.fits import recorded
from tests.app.shipment_calls import Box

# From 02:00 UTC on the 11th to 10:00 UTC on the 16th; by dates 5 days and the 7 h that the clocks differ.
TIMED_DAYS, DATED_DAYS = 5 + 8 / 24, 5 + 7 / 24
AT_20: list[Fields] = [{"at": f"2027-01-1{d}T0{h}:00:00Z", "inside_c": 20} for d in (3, 4) for h in (0, 6)][:2]
ONE_LINE = [line("Hoya", 20)]
COUNTS = [{"line": 0, "healthy": 15, "damaged": 3, "dead": 2}]


def fitted_days(database: Database) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and variance of the log equivalent days of the only line, over all clocks."""
    table = recorded(database).lines.lines
    assert len(table) == 1
    return table["log_days"][0], table["log_days_variance"][0]


def arrived(client: Client, *, departs: bool = True, plan: Fields | None = None, **fields: Any) -> None:
    box = Box(client, lines=ONE_LINE, **(plan or {}))
    if departs:
        box.depart()
    box.arrive(lines=COUNTS, **fields)


def test_exact_times_leave_no_doubt_about_the_days(ledger_client: Client, database: Database) -> None:
    """At 20 °C a day is a day, whatever the clock: the reference temperature."""
    arrived(ledger_client, logger=AT_20)
    mean, variance = fitted_days(database)
    np.testing.assert_allclose(mean, np.log(TIMED_DAYS), atol=1e-4)
    np.testing.assert_allclose(variance, 0.0, atol=1e-12)


def test_without_a_departure_the_days_are_those_of_the_dates(ledger_client: Client, database: Database) -> None:
    """Two times of day unknown: a triangle of a day on either side, variance 1/6 (Irwin-Hall)."""
    arrived(ledger_client, departs=False, logger=AT_20)
    mean, variance = fitted_days(database)
    np.testing.assert_allclose(mean, np.log(DATED_DAYS), atol=1e-4)
    np.testing.assert_allclose(variance, (1 / 6) / DATED_DAYS**2)


def test_exposure_ends_at_the_opening(ledger_client: Client, database: Database) -> None:
    arrived(ledger_client, logger=AT_20, opened_at="2027-01-18T10:00:00Z")
    np.testing.assert_allclose(fitted_days(database)[0], np.log(TIMED_DAYS + 2), atol=1e-4)


def test_opening_counts_where_the_departure_is_a_date(ledger_client: Client, database: Database) -> None:
    arrived(ledger_client, departs=False, logger=AT_20, opened_at="2027-01-18T10:00:00Z")
    np.testing.assert_allclose(fitted_days(database)[0], np.log(DATED_DAYS + 2), atol=1e-4)


def test_trace_sets_the_rate(ledger_client: Client, database: Database) -> None:
    """Ten degrees warmer is faster by Q10, whatever it is."""
    arrived(ledger_client, logger=[reading | {"inside_c": 30} for reading in AT_20])
    mean, _ = fitted_days(database)
    expected = np.log(TIMED_DAYS) + ExposureTable.log_q10_points
    np.testing.assert_allclose(mean, np.broadcast_to(expected[:, None], mean.shape), atol=0.01)


def test_air_measured_as_constant_is_constant(ledger_client: Client, database: Database) -> None:
    arrived(ledger_client, inside_temp_c=20, inside_min_c=20, inside_max_c=20)
    mean, variance = fitted_days(database)
    np.testing.assert_allclose(mean, np.log(TIMED_DAYS), atol=1e-4)
    np.testing.assert_allclose(variance, 0.0, atol=1e-12)


def test_a_measured_mean_moves_the_journeys_and_keeps_their_spread(ledger_client: Client, database: Database) -> None:
    """Air that is 4 °C warmer throughout is faster by Q10 to 0.4, above chilling; how it went stays unknown."""
    for mean_c in (23, 27):
        arrived(ledger_client, inside_temp_c=mean_c)
    table = recorded(database).lines.lines
    colder, warmer = table["log_days"][:, :, 0]
    np.testing.assert_allclose(warmer - colder, 0.4 * ExposureTable.log_q10_points, atol=0.01)
    assert (table["log_days_variance"][:, -1, 0] > 1e-4).all()


def test_measured_extremes_stretch_the_journeys(ledger_client: Client, database: Database) -> None:
    """Of one mean, air that swings more costs more: the rate is convex, above chilling."""
    for swing in (1, 6):
        arrived(ledger_client, inside_temp_c=24, inside_min_c=24 - swing, inside_max_c=24 + swing)
    still, swinging = recorded(database).lines.lines["log_days"][:, -1, 0]
    assert swinging > still + 0.02


def forecast(low: float, high: float) -> Fields:
    days = [{"date": f"2027-01-{day}", "min_c": low, "max_c": high} for day in range(11, 20)]
    return {"forecast": {"GLA": days, "SRG": days}}


def test_forecast_of_the_plan_is_the_weather_of_the_box(ledger_client: Client, database: Database) -> None:
    """A week of frost chills the box, a mild one does not; without a forecast it lies between."""
    chilled = []
    for i, plan in enumerate((forecast(-9, -5), {}, forecast(18, 22))):
        arrived(ledger_client, plan=plan | {"packing": {"container": "carton"}})
        chilled.append(recorded(database).lines.lines["log_days"][i].max())
    assert chilled[0] > chilled[1] + 0.1
    assert chilled[1] > chilled[2] + 0.1


def test_forecast_by_place_and_day() -> None:
    route = '"routes": [{"service": "post"}]'
    plan = '{"forecast": {"GLA": [{"date": "2027-01-12", "min_c": -6, "max_c": 1}]}, ' + route + "}"
    found = planned((plan, "{}"))
    assert found is not None
    [(place, days)] = found.forecast.items()
    [(day, weather)] = days.items()
    assert (place, day.isoformat(), weather.min_c, weather.max_c) == ("GLA", "2027-01-12", -6, 1)
    bare = planned(("{" + route + "}", "{}"))
    assert bare is not None
    assert (bare.service, bare.forecast, bare.times, bare.n_missing, bare.public_holidays) == (
        "post",
        {},
        None,
        0,
        True,
    )
    assert planned(None) is None


@ON_ONE_DATABASE
def test_times_in_transit_are_learned_from_times(ledger_client: Client, database: Database) -> None:
    """By their dates all took five days; early ones are opened soon after midnight, late ones shortly before the next.

    Glasgow keeps UTC in January.
    """

    def learned(opened_at: str, destination: str) -> float:
        for _ in range(6):
            box = Box(ledger_client, lines=ONE_LINE, destination=destination)
            box.depart()
            box.arrive(lines=COUNTS, arrived_at=opened_at)
        lane = recorded(database).times.learn().of("courier", "SRG", destination)
        assert lane is not None
        return lane.quantiles.p50

    assert learned("2027-01-16T23:30:00Z", "GLA") > learned("2027-01-16T00:30:00Z", "LHR") + 0.2
