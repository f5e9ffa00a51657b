"""The exposure of a recorded box is that of the forecast's journeys which take as long as it did."""

from datetime import date

import numpy as np
import pytest
from numpy.typing import NDArray

from app.batch import PAPERS_SD_LOG, Itinerary, Lane, WeatherDraws, origin_layover
from model.exposure import Box, Measured, journey_bins
from model.exposure.recorded import binned_rates
from model.reference import load_reference

REFERENCE = load_reference()
BOX = Box(ua_w_per_k=2.0, heat_capacity_j_per_k=60_000.0)
# The clock of an invented genus at the middle of its tabulated points.
RATES = binned_rates(13.0, 0.4)[:, 2, 4]
KEPT = 400


def itinerary(origin: str, destination: str, service: str, ship_date: date, **fields: float) -> Itinerary:
    lane = Lane.between(REFERENCE.places[origin], REFERENCE.places[destination], service, REFERENCE)
    calendar = lane.calendar()
    transit = lane.solve(lane.usual_quantiles()).transit
    layover = origin_layover(lane, calendar, ship_date)
    return Itinerary(lane, calendar, transit, lane.closing(ship_date), layover, **fields)


def log_days(itinerary: Itinerary, ends_h: NDArray[np.float64], ship_date: date) -> NDArray[np.float64]:
    """Return log equivalent days of journeys, each through a weather of its own."""
    n = ends_h.shape[1]
    weather = WeatherDraws(REFERENCE, ship_date, int(ends_h[-1].max() / 24) + 3, draws=n, seed=3)
    streets = weather.streets(itinerary.lane, itinerary.closed_at, int(np.ceil(ends_h[-1].max())) + 1)
    bins = journey_bins(itinerary.lane.legs, ends_h, streets, BOX, Measured())
    return np.asarray(np.log(bins @ RATES))


@pytest.mark.parametrize(
    ("origin", "destination", "service", "ship_date", "days", "papers_days"),
    [
        ("BKK", "DUB", "air_cargo", date(2027, 1, 14), 6.4, 0.0),
        ("CGK", "YWG", "courier", date(2027, 1, 5), 14.0, 0.0),
        # Closed on a Friday, opened on a Monday: layover, and perhaps two days before a closed door.
        ("BKK", "DUB", "courier", date(2027, 1, 15), 10.4, 0.0),
        # Over Lunar New Year at the hub, and with a paper missing.
        ("BKK", "GLA", "post", date(2027, 2, 1), 15.0, 4.0),
    ],
)
def test_it_is_the_forecast_conditioned_on_its_total(
    origin: str, destination: str, service: str, ship_date: date, days: float, papers_days: float
) -> None:
    """Of at most two million forecast journeys, those within an hour of the total, until there are enough."""
    own = itinerary(origin, destination, service, ship_date, papers_days=papers_days)
    rng = np.random.default_rng(1)
    kept: list[NDArray[np.float64]] = []
    while sum(ends.shape[1] for ends in kept) < KEPT and len(kept) < 10:
        total, delay = own.transit.sample(*(rng.random(200_000) for _ in range(3)))
        papers = (
            papers_days * np.exp(PAPERS_SD_LOG * rng.standard_normal(len(total)))
            if papers_days
            else np.zeros_like(total)
        )
        near = total < 40.0
        ends = own.ends_h((total - delay)[near], delay[near], papers[near])
        kept.append(ends[:, np.abs(ends[-1] - 24.0 * days) < 1.0])
    forecast_ends = np.concatenate(kept, axis=1)
    assert forecast_ends.shape[1] >= KEPT
    recorded_ends = own.given_total(days, 4 * KEPT, at=0.5)
    np.testing.assert_allclose(recorded_ends[-1], 24.0 * days)
    # When each leg ended, and what the plants went through: mean and spread.
    for one, other in zip(recorded_ends[:-1], forecast_ends[:-1], strict=True):
        assert one.mean() == pytest.approx(other.mean(), abs=4.0 * other.std() / np.sqrt(KEPT) + 1.0)
    forecast, recorded = (log_days(own, ends, ship_date) for ends in (forecast_ends, recorded_ends))
    assert recorded.mean() == pytest.approx(forecast.mean(), abs=5.0 * forecast.std() / np.sqrt(KEPT) + 0.005)
    assert recorded.std() == pytest.approx(forecast.std(), rel=0.25, abs=0.01)


def test_a_box_faster_than_any_forecast_shares_its_time_over_the_legs() -> None:
    """A day and a half by post, whose fastest box takes four days."""
    own = itinerary("BKK", "DUB", "post", date(2027, 1, 11))
    ends = own.given_total(1.5, 16, at=0.5)
    assert ends.shape == (len(own.lane.legs), 16)
    np.testing.assert_allclose(ends, ends[:, :1] @ np.ones((1, 16)))
    np.testing.assert_allclose(ends[-1], 36.0)


def test_a_box_opened_on_a_day_that_is_not_worked_was_handed_over_after_all() -> None:
    """Saturday 16 January 2027, three days after its closing: no journey by the calendar has that total."""
    own = itinerary("BKK", "DUB", "air_cargo", date(2027, 1, 13))
    ends = own.given_total(3.2, 64, at=0.5)
    np.testing.assert_allclose(ends[-1], 24.0 * 3.2)
    # It missed a flight or it did not.
    assert len(np.unique(ends[1].round(6))) == 2
