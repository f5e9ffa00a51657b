"""Valid requests that are too much work are refused with a remedy, and the remedy is enough."""

import re
from typing import Any

import pytest

from app.batch.batch import prepare
from app.comparing.simulated import SimulatedBatch
from app.comparing.work_limit import MOST_CELLS, MOST_SECONDS, work_of
from app.problems import InvalidInput
from tests.app.batches import COURIER, Fields, compare_request, engine, fixed, hold, line, order_size

GENERA = ("Hoya", "Peperomia", "Begonia", "Calathea", "Aglaonema", "Monstera", "Alocasia", "Syngonium")
APART = COURIER | {"travel": "apart", "boxes": 100, "transit_days": fixed(20)}
MOST_DRAWS = 65_536
# By travel of hundred boxes, by weather of three months, and by genera whose numbers do not fit in memory.
TOO_MUCH: list[tuple[str, Fields]] = [
    ("compare", {"routes": [APART], "lines": [line("Aglaonema", 2000)], "draws": MOST_DRAWS}),
    ("compare", {"routes": [APART | {"travel": "together"}], "lines": [line("Aglaonema", 2000)], "draws": MOST_DRAWS}),
    ("hold", {"lines": [line(g, 6) for g in GENERA], "latest": "2027-04-13", "draws": MOST_DRAWS}),
    ("order_size", {"routes": [APART], "lines": [line(g, 500) for g in GENERA], "draws": MOST_DRAWS,
                    "target": {"line": 0, "healthy": 5000}}),
    ("compare", {"routes": [APART | {"transit_days": fixed(1)}], "lines": [line(g, 100) for g in GENERA],
                 "draws": MOST_DRAWS}),
]  # fmt: skip


def ask(kind: str, fields: Fields) -> Any:
    """Ask; of a comparison that is allowed nothing is followed."""
    if kind == "compare":
        request = compare_request(**fields)
        return SimulatedBatch(request, prepare(request, engine(), request.ship_date), engine())
    return {"hold": hold, "order_size": order_size}[kind](**fields)


@pytest.mark.parametrize(("kind", "fields"), TOO_MUCH)
def test_too_much_work_is_refused_with_the_draws_that_would_do(kind: str, fields: Fields) -> None:
    with pytest.raises(InvalidInput) as refused:
        ask(kind, fields)
    [error] = refused.value.errors
    said = re.fullmatch(
        r"must be at most ([\d,]+) for a request as large as this, or ask for fewer dates, routes, lines, or boxes "
        r"that travel apart",
        error.message,
    )
    assert error.pointer == "/draws"
    assert said is not None
    fitting = int(said.group(1).replace(",", ""))
    assert 256 <= fitting < MOST_DRAWS
    if kind == "compare":
        ask(kind, fields | {"draws": fitting})
        with pytest.raises(InvalidInput):
            ask(kind, fields | {"draws": fitting + 1})


def test_what_no_number_of_draws_makes_possible_says_so() -> None:
    routes = [APART | {"name": str(i), "transit_days": fixed(60)} for i in range(10)]
    lines = [line(genus, 12) for genus in GENERA]
    with pytest.raises(InvalidInput) as refused:
        hold(routes=routes, lines=lines, latest="2027-04-13", draws=256)
    [error] = refused.value.errors
    assert (error.pointer, error.message.startswith("asks for more than one answer can hold: ask for fewer")) == (
        "",
        True,
    )


def test_usual_requests_are_far_below_the_limit() -> None:
    """Ten routes of eight lines, the usual draws; and a month of dates on two routes. Three months are too many."""
    routes = [COURIER | {"name": str(i)} for i in range(10)]
    request = compare_request(lines=[line(genus, 10) for genus in GENERA], routes=routes, draws=4096)
    prepared = prepare(request, engine(), request.ship_date)
    wide = work_of(prepared, [route.plan for route in prepared.routes])
    two = [route.plan for route in prepared.routes[:2]]
    month, long = (work_of(prepared, two, n_dates=n) for n in (30, 93))
    for work, part in ((wide, 4), (month, 1.5)):
        assert work.ns * 4096 < MOST_SECONDS * 1e9 / part
        assert work.cells * 4096 < MOST_CELLS / 4
    assert 256 <= long.draws_that_fit() < 4096


def test_work_counts_what_is_followed() -> None:
    """By hand: hours, genera, boxes and dates multiply; a line more costs little."""
    request = compare_request(lines=[line("Aglaonema", 200)], routes=[APART])
    prepared = prepare(request, engine(), request.ship_date)
    [route] = prepared.routes
    one, ten_dates = work_of(prepared, [route.plan]), work_of(prepared, [route.plan], n_dates=10)
    assert ten_dates.ns == pytest.approx(10 * one.ns)
    assert ten_dates.cells == one.cells == 100
    # 100 boxes x 20 days x 24 hours x (22 + 4) ns, and little else.
    assert one.ns == pytest.approx(100 * 480 * 26, rel=0.02)
    assert work_of(prepared, [route.plan] * 2).ns == pytest.approx(2 * one.ns)
