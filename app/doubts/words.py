"""A doubt in words: what does not fit, the likeliest slip, and what to do about it."""

from datetime import date, timedelta

import numpy as np

from app.doubts.alike import AHEAD, GENUS, SPELLING, TOO_FAST, TWICE, PlainDoubt
from app.doubts.journeys import LikelyJourneys
from app.doubts.screening import COUNTS, Doubt
from app.doubts.slips import DAY_MONTH, DIGIT, FAHRENHEIT, MONTH, ODD, SWAPPED, TEMPERATURE
from app.doubts.variants import undone
from app.store import ArrivedBoxes, ShipmentColumns

CONFIRM = "Correct the record, or confirm it if it is right."
UNEXPLAINED = "No usual slip explains it."
FULL, MOST = 0.95, 0.999
WHOLE_DAYS = 3.0


def doubt_words(doubt: Doubt, shipments: ShipmentColumns, journeys: LikelyJourneys) -> str:
    """Return what to say of a doubt."""
    said = _WORDS[doubt.code](doubt, shipments, journeys)
    return f"{said} {_odds(doubt.chance)} {CONFIRM}"


def plain_words(doubt: PlainDoubt, ledger: ArrivedBoxes, journeys: LikelyJourneys) -> str:
    """Return what to say of a doubt that is no matter of chance."""
    (shipments, lines), i = ledger, doubt.shipment
    if doubt.code == SPELLING:
        own = shipments.seller.levels[shipments.seller.codes[i]]
        said = (
            f"The seller “{own}” may be “{doubt.other}” in another spelling; what is learned of one is then lost to the"
            " other."
        )
    elif doubt.code == GENUS:
        assert doubt.line is not None  # noqa: S101 - it is of a line
        own = lines.genus.levels[lines.genus.codes[doubt.line]]
        said = f"{own} is not in the table of genera, so it is learned as an unknown plant: {doubt.other} may be meant."
    elif doubt.code == TWICE:
        said = f"It says the same as “{doubt.other}”: the same box may be recorded twice, and would count twice."
    elif doubt.code == AHEAD:
        said = f"Its {doubt.column} lies ahead of {doubt.other}, yet it is recorded as arrived."
    else:
        assert doubt.code == TOO_FAST  # noqa: S101 - there are no others
        said = (
            f"{_days(journeys.days(shipments, i))} are too few: this service takes at least {doubt.other} days from "
            f"closing to opening."
        )
    return f"{said} {CONFIRM}"


def _odds(chance: float) -> str:
    if chance >= MOST:
        return "Hardly one such record in a thousand is right."
    right = 1.0 - chance
    if chance >= FULL:
        return f"About 1 such record in {float(f'{1.0 / right:.2g}'):.0f} is right."
    return f"About {100.0 * chance:.0f} in 100 such records are wrong."


def _fahrenheit(doubt: Doubt, shipments: ShipmentColumns, journeys: LikelyJourneys) -> str:
    logged = float(shipments.inside_temp_c[doubt.shipment])
    assert doubt.slip is not None  # noqa: S101 - it is one of temperature
    right = doubt.slip.celsius.of(logged)
    return (
        f"{logged:.1f} °C on average does not fit {_usual(doubt, shipments, journeys)}; as °F it is {right:.1f} °C: the"
        " logger may write °F."
    )


def _digit(doubt: Doubt, shipments: ShipmentColumns, journeys: LikelyJourneys) -> str:
    logged = float(shipments.inside_temp_c[doubt.shipment])
    assert doubt.slip is not None  # noqa: S101 - as above
    right = doubt.slip.celsius.of(logged)
    return (
        f"{logged:.1f} °C on average does not fit {_usual(doubt, shipments, journeys)}; {right:.1f} °C would:"
        " a digit or a decimal mark may be lost."
    )


def _usual(doubt: Doubt, shipments: ShipmentColumns, journeys: LikelyJourneys) -> str:
    mean = journeys.mean_c(shipments, doubt.shipment)
    spread = 2.0 * float(mean.std())
    return f"the journey ({mean.mean() - spread:.0f} to {mean.mean() + spread:.0f} °C on this lane at that time)"


def _month(doubt: Doubt, shipments: ShipmentColumns, journeys: LikelyJourneys) -> str:
    return _dates(doubt, shipments, journeys, "a month off")


def _day_month(doubt: Doubt, shipments: ShipmentColumns, journeys: LikelyJourneys) -> str:
    return _dates(doubt, shipments, journeys, "written with day and month swapped")


def _dates(doubt: Doubt, shipments: ShipmentColumns, journeys: LikelyJourneys, how: str) -> str:
    slip = doubt.slip
    assert slip is not None  # noqa: S101 - it is one of dates
    changed = undone(shipments, np.array([doubt.shipment]), [slip])
    right = " and ".join(
        f"{name} {_moved(getattr(shipments, name)[doubt.shipment].astype(object), days)}"
        for name, days in (("ship_date", slip.ship_days), ("arrival_date", slip.arrival_days))
        if days
    )
    return (
        f"{_days(journeys.days(shipments, doubt.shipment))} in transit are unlikely; with {right} they would be "
        f"{_days(journeys.days(changed, 0))}: a date may be {how}."
    )


def _moved(day: date, days: int) -> str:
    return (day + timedelta(days=days)).isoformat()


def _swapped(doubt: Doubt, shipments: ShipmentColumns, journeys: LikelyJourneys) -> str:  # noqa: ARG001 - as the others
    where = "of this box" if doubt.line is None else "of this row"
    return (
        "The other boxes make these counts unlikely, and likely with healthy and dead the other way round: the columns "
        f"{where} may be swapped."
    )


def _odd(doubt: Doubt, shipments: ShipmentColumns, journeys: LikelyJourneys) -> str:
    if doubt.column == TEMPERATURE:
        logged = float(shipments.inside_temp_c[doubt.shipment])
        return f"{logged:.1f} °C on average does not fit {_usual(doubt, shipments, journeys)}. {UNEXPLAINED}"
    if doubt.column == COUNTS:
        where = "counts" if doubt.line is None else "counts of this row"
        return f"The other boxes make these {where} very unlikely. {UNEXPLAINED}"
    return f"{_days(journeys.days(shipments, doubt.shipment))} in transit are very unlikely. {UNEXPLAINED}"


def _days(days: float) -> str:
    return f"{days:.0f} days" if days >= WHOLE_DAYS else f"{days:.1f} days"


_WORDS = {
    FAHRENHEIT: _fahrenheit,
    DIGIT: _digit,
    MONTH: _month,
    DAY_MONTH: _day_month,
    SWAPPED: _swapped,
    ODD: _odd,
}
