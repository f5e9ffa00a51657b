"""Valid requests that are too much work are refused with a remedy, and the remedy is enough."""

import re
from typing import Any

import pytest

from app.batch.batch import prepare
from app.comparing.simulated import SimulatedBatch
from app.comparing.work_limit import REMEDIES, with_fitting_draws, work_of
from app.problems import InvalidInput, TooMuchWork
from app.schemas.compare import CompareRequest
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


def test_usual_requests_are_below_the_limit() -> None:
    """Ten routes of eight lines with the usual draws; three months on three routes with those of the page."""
    routes = [COURIER | {"name": str(i)} for i in range(10)]
    request = compare_request(lines=[line(genus, 10) for genus in GENERA], routes=routes)
    prepared = prepare(request, engine(), request.ship_date)
    plans = [route.plan for route in prepared.routes]
    assert work_of(prepared, plans, n_remedies=REMEDIES).draws_that_fit() > 4 * 4096
    assert work_of(prepared, plans[:2], n_dates=30, n_remedies=REMEDIES).draws_that_fit() > 4096
    assert 1024 < work_of(prepared, plans[:3], n_dates=93, n_remedies=REMEDIES).draws_that_fit() < 4096


@pytest.mark.parametrize("n_dates", [30, 93])
def test_a_request_that_leaves_out_its_draws_gets_as_many_as_fit(n_dates: int) -> None:
    request = compare_request()
    left_out = CompareRequest.model_validate_json(request.model_dump_json(exclude={"draws"}, exclude_unset=True))
    prepared = prepare(request, engine(), request.ship_date)
    work = work_of(prepared, [route.plan for route in prepared.routes] * 2, n_dates=n_dates)
    fitting = work.draws_that_fit()
    assert (fitting < 4096) == (n_dates == 93)
    assert with_fitting_draws(left_out, work).draws == min(fitting, 4096)
    with pytest.raises(TooMuchWork):
        with_fitting_draws(request.model_copy(update={"draws": fitting + 1}), work)


def test_of_work_that_fits_in_no_number_of_draws_none_is_begun() -> None:
    """What does not depend on draws is too much alone."""
    request = compare_request()
    prepared = prepare(request, engine(), request.ship_date)
    work = work_of(prepared, [route.plan for route in prepared.routes], n_dates=2_000)
    with pytest.raises(TooMuchWork) as refused:
        with_fitting_draws(request, work)
    assert refused.value.errors[0].message.startswith("asks for more than one answer can hold")


def test_what_knowing_is_worth_is_counted_too() -> None:
    """Thirty genera on ten routes: what fits a comparison of them is too much with it."""
    genera = list(engine().reference.genera)[:30]
    routes = [COURIER | {"name": str(i), "transit_days": fixed(2)} for i in range(10)]
    request = compare_request(lines=[line(genus, 1) for genus in genera], routes=routes)
    prepared = prepare(request, engine(), request.ship_date)
    plans = [route.plan for route in prepared.routes]
    alone, with_it = (work_of(prepared, plans, worth_knowing=asked) for asked in (False, True))
    fitting = with_it.draws_that_fit()
    assert 256 < fitting < alone.draws_that_fit()
    more = request.model_copy(update={"draws": fitting + 1})
    assert SimulatedBatch(more, prepared, engine()).simulation.n_draws == fitting + 1
    with pytest.raises(TooMuchWork):
        SimulatedBatch(more, prepared, engine(), worth_knowing=True)


def test_work_counts_what_is_followed() -> None:
    """By hand: hours, genera, boxes and dates multiply; a line more costs little."""
    request = compare_request(lines=[line("Aglaonema", 200)], routes=[APART])
    prepared = prepare(request, engine(), request.ship_date)
    [route] = prepared.routes
    one, ten_dates = work_of(prepared, [route.plan]), work_of(prepared, [route.plan], n_dates=10)
    assert ten_dates.ns == pytest.approx(10 * one.ns)
    assert ten_dates.cells == one.cells == 100
    # 100 boxes x 20 days x 24 hours x (29 + 1.2) ns, and little else.
    assert one.ns == pytest.approx(100 * 480 * 30.2, rel=0.02)
    assert work_of(prepared, [route.plan] * 2).ns == pytest.approx(2 * one.ns)
    # 100 boxes, 3 ms each, and 0.17 ms of the line; a remedy follows them all once more.
    assert one.fixed_ns == pytest.approx(300.17e6)
    remedied = work_of(prepared, [route.plan], n_remedies=2)
    assert (remedied.remedy_ns, remedied.fixed_ns) == (2 * one.ns, 3 * one.fixed_ns)
