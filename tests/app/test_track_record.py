"""The track record end to end: boxes planned and opened through the service, on each kind of database."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from app.boxes.arrivals import decide_arrival, read_arrival
from app.boxes.shipment_changes import ChangeCall, change
from app.boxes.shipment_plans import plan_shipment
from app.main import create_app
from app.records.preconditions import Preconditions
from app.schemas.track_record import TrackRecordAnswer
from app.serving.engine import Engine
from app.settings import Settings
from app.store.database import Database
from app.store.forecasts import CountedLine, ForecastBox, read_forecast_boxes, read_forecasts
from app.track_record.box_scores import BoxScore, score_boxes
from app.track_record.track_record import PARTS_MINIMUM, TrackRecord, is_before_arrival
from tests.app.batches import COURIER, engine, fixed, line
from tests.app.client import Client, running_client
from tests.app.fits import fitted_engine
from tests.app.ledger_files import csv_bytes, row
from tests.app.shipment_calls import ARRIVAL, PLAN, Box

PLANNED_AT = datetime(2027, 1, 4, 12, tzinfo=UTC)
OPENED_AT = datetime(2027, 1, 16, 10, tzinfo=UTC)
Fields = dict[str, Any]
PATH = "/v1/track-record"


@pytest.fixture
def planner(database_url: str, ledger_client: Client) -> Iterator[Client]:
    """Yield a client of an application on the same ledger by whose clock the box has not arrived yet."""
    assert ledger_client
    with running_client(create_app(Settings(database_url=database_url, now=PLANNED_AT))) as started:
        yield started


def forecast_box(planner: Client, client: Client, **fields: Any) -> Box:
    """Plan a box before it arrives; what follows is recorded by the client."""
    box = Box(planner, **fields)
    box.client = client
    return box


def record(client: Client) -> Fields:
    answer: Fields = client.get(PATH).raise_for_status().json()
    TrackRecordAnswer.model_validate(answer)
    return answer


def opened(
    database: Database,
    using: Engine,
    lines: list[Fields] | None = None,
    *,
    planned_at: datetime = PLANNED_AT,
    arrived_at: datetime = OPENED_AT,
    **fields: Any,
) -> None:
    """Plan the invented shipment, and record its arrival."""
    planned = plan_shipment(json.dumps(PLAN | fields).encode(), None, database, using, planned_at)
    shipment_id = json.loads(planned.body)["id"]
    arrival = {"departed_at": "2027-01-11T09:00:00+07:00", "arrived_at": arrived_at.isoformat()}
    arrival["lines"] = lines or ARRIVAL["lines"]  # type: ignore[assignment]
    call = ChangeCall(shipment_id, Preconditions(if_match=planned.headers["ETag"]), database, using, arrived_at)
    change(call, lambda: read_arrival(json.dumps(arrival).encode()), decide_arrival, reason="arrival")


def answered(database: Database, using: Engine | None = None) -> TrackRecordAnswer:
    return TrackRecord(database).answer(using or engine())


def score_box(box: ForecastBox, answer_json: str) -> BoxScore | None:
    (score,) = score_boxes([(box, answer_json)])
    return score


def test_without_boxes_it_says_so(ledger_client: Client) -> None:
    empty = record(ledger_client)
    assert empty["boxes"] == empty["plants"] == 0
    assert empty["log_score"] == {"forecast": None, "rules": None, "difference": None}
    assert [(c["level"], c["counts"], c["n"]) for c in empty["coverage"]] == [
        (0.5, None, 0),
        (0.8, None, 0),
        (0.95, None, 0),
    ]
    assert empty["reliability"] == empty["parts"] == empty["pit"] == []
    assert empty["verdict"].startswith("No box with a forecast stored before its arrival")


def test_a_box_is_scored_when_it_has_arrived_and_again_when_corrected(planner: Client, ledger_client: Client) -> None:
    box = forecast_box(planner, ledger_client)
    box.depart()
    assert record(ledger_client)["boxes"] == 0
    box.arrive()
    first = record(ledger_client)
    assert (first["boxes"], first["plants"]) == (1, 30)
    assert first["log_score"]["forecast"] == first["log_score"]["rules"] > 0
    assert first["verdict"].startswith("Of 1 box the 80 % range held the count")
    # Brier by hand from the chances that were stored: lines of 20 and 10 plants.
    chances = [row["mean_chances"] for row in box.get()["forecast"]["scoring"]["forecast"]["lines"]]
    by_question = []
    for kind, found in (("healthy", (15, 9)), ("dead", (2, 1))):
        plants = [
            n * ((chance[kind] - k / n) ** 2 + k / n * (1 - k / n))
            for chance, k, n in zip(chances, found, (20, 10), strict=True)
        ]
        by_question.append(sum(plants) / 30)
    assert first["brier"]["forecast"] == pytest.approx(np.mean(by_question), abs=1e-12)
    dead = [{"line": 0, "healthy": 0, "damaged": 0, "dead": 20}, {"line": 1, "healthy": 0, "damaged": 0, "dead": 12}]
    box.arrive(lines=dead)
    corrected = record(ledger_client)
    assert (corrected["boxes"], corrected["plants"]) == (1, 32)
    assert corrected["brier"]["forecast"] > first["brier"]["forecast"] + 0.3
    assert corrected["coverage"][1]["counts_held"]["below"] == 1


def test_recorded_chances_are_for_plants_that_were_sent(planner: Client, ledger_client: Client) -> None:
    """A line that never came and plants not ordered are in no score."""
    box = forecast_box(planner, ledger_client)
    lines = [
        {"line": 0, "healthy": 18, "damaged": 1, "dead": 1},
        {"line": 1, "sent": 0, "healthy": 0, "damaged": 0, "dead": 0},
        {"genus": "Hoya", "healthy": 0, "damaged": 0, "dead": 7},
    ]
    box.arrive(lines=lines)
    answer = record(ledger_client)
    assert (answer["boxes"], answer["plants"]) == (1, 20)
    assert answer["not_scored"]["lines_not_forecast"] == 1
    assert sum(r["plants"] for r in answer["reliability"] if r["outcome"] == "healthy") == 20


def test_two_state_rows_are_scored_on_what_they_say(planner: Client, ledger_client: Client) -> None:
    box = forecast_box(planner, ledger_client, reference="A-1", lines=[line("Aglaonema", 20)])
    box.arrive(lines=[{"line": 0, "healthy": 15, "damaged": 3, "dead": 2}])
    three = record(ledger_client)
    cells = row(seller="Invented Ferns", healthy="", damaged="", dead="2")
    headers = {"content-type": "text/csv"}
    answer = ledger_client.post("/v1/shipments/import?replace=true", content=csv_bytes(cells), headers=headers)
    assert answer.raise_for_status().json()["replaced"] == 1
    two = record(ledger_client)
    assert two["boxes"] == 1
    assert {r["outcome"] for r in two["reliability"]} == {"dead"}
    chance = box.get()["forecast"]["scoring"]["forecast"]["lines"][0]["mean_chances"]["dead"]
    # of 20 plants 2 died, by hand
    assert two["brier"]["forecast"] == pytest.approx((chance - 0.1) ** 2 + 0.1 * 0.9, abs=1e-12)
    # Saying less of the same box leaves less to be wrong about.
    assert two["log_score"]["forecast"] < three["log_score"]["forecast"]
    assert two["coverage"][1]["counts_held"]["n"] == 1


def test_boxes_from_files_and_lost_boxes_are_in_no_score(ledger_client: Client) -> None:
    ledger_client.post("/v1/shipments/import", content=csv_bytes(row()), headers={"content-type": "text/csv"})
    lost = Box(ledger_client)
    lost.depart()
    lost.done("PATCH", json={"events": [{"at": "2027-02-11T09:00:00+00:00", "kind": "lost"}]})
    answer = record(ledger_client)
    assert answer["boxes"] == 0
    assert answer["not_scored"]["lost"] == 1
    assert answer["not_scored"]["forecast_after_arrival"] == 0


def test_only_forecasts_from_before_the_arrival_count(database: Database) -> None:
    opened(database, engine(), planned_at=OPENED_AT)
    late = answered(database)
    assert (late.boxes, late.not_scored.forecast_after_arrival) == (0, 1)
    opened(database, engine(), planned_at=PLANNED_AT)
    assert answered(database).boxes == 1


@pytest.mark.parametrize(("hour", "scored"), [(9, True), (11, False)])
def test_of_a_date_alone_the_day_may_have_begun_in_the_east(database: Database, hour: int, scored: bool) -> None:
    # 16 January begins at UTC+14 when it is 10:00 of 15 January in UTC.
    opened(database, engine(), reference="A-1", planned_at=datetime(2027, 1, 15, hour, tzinfo=UTC))
    with database.reading() as connection:
        [box] = read_forecast_boxes(connection)
    assert is_before_arrival(box._replace(arrived_at=None)) == scored
    assert is_before_arrival(box)


def test_a_forecast_equal_to_the_rules_scores_equal(database: Database) -> None:
    twin = Engine(model_version="fit-of-nothing", reference=engine().reference, draws=engine().draws)
    for _ in range(3):
        opened(database, twin)
    answer = answered(database)
    for score in (answer.log_score, answer.brier):
        assert score.forecast == score.rules
        assert score.difference is not None
        assert (score.difference.boxes, score.difference.mean) == (3, 0.0)
    assert [(by.model_version, by.boxes) for by in answer.forecasts_by] == [("fit-of-nothing", 3)]


def test_a_fitted_model_is_compared_with_the_rules(database: Database) -> None:
    opened(database, engine())
    opened(database, fitted_engine())
    opened(database, fitted_engine(), lines=[{"line": 0, "healthy": 20, "damaged": 0, "dead": 0}, ARRIVAL["lines"][1]])
    answer = answered(database)
    score = answer.log_score
    assert score.difference is not None
    assert score.difference.boxes == 2
    assert score.forecast is not None
    assert score.rules is not None
    # the box that the rules forecast adds nothing to the difference
    assert 3 * (score.forecast - score.rules) == pytest.approx(2 * score.difference.mean)
    assert score.difference.mean > 0.0
    assert "In 2 boxes the forecasts foretold what came worse than the rules of thumb alone" in answer.verdict


def test_scores_do_not_change_when_the_model_does(database: Database) -> None:
    opened(database, engine())
    before, after = answered(database), answered(database, fitted_engine())
    assert after.model_version != before.model_version
    assert after.model_copy(update={"model_version": before.model_version}) == before


def test_days_in_transit_are_held_by_their_ranges(database: Database) -> None:
    days = {"p10": 3, "p50": 5, "p90": 8}
    opened(database, engine(), routes=[COURIER | {"transit_days": days}])  # took 5.3 days
    late = datetime(2027, 1, 30, tzinfo=UTC)
    opened(database, engine(), routes=[COURIER | {"transit_days": days}], arrived_at=late)
    opened(database, engine(), routes=[COURIER | {"transit_days": fixed(5)}])  # says nothing of a range
    half, most, nearly_all = (c.transit_held for c in answered(database).coverage)
    assert [(c.n, c.held, c.above) for c in (half, most, nearly_all)] == [(2, 1, 1)] * 3
    assert most.expected == pytest.approx(1.6)


def test_parts_need_enough_boxes(database: Database) -> None:
    for _ in range(PARTS_MINIMUM - 1):
        opened(database, engine())
    assert answered(database).parts == []
    opened(database, engine())
    parts = answered(database).parts
    assert [(part.by, part.level, part.boxes) for part in parts] == [
        ("service", "courier", 20),
        ("group", "aroid", 20),
        ("season", "December to February", 20),
    ]
    assert answered(database).verdict.startswith("Of 20 boxes the 80 % range held the count")


def test_an_answer_again_is_the_same_and_new_boxes_join(database: Database) -> None:
    opened(database, engine())
    kept = TrackRecord(database)
    first = kept.answer(engine())
    assert kept.answer(engine()) == first
    opened(database, engine())
    assert kept.answer(engine()) == answered(database)
    assert kept.answer(engine()).boxes == 2


def test_counts_hold_what_their_ranges_say(database: Database) -> None:
    """Boxes drawn from the stored forecast itself are held as often as the ranges say."""
    opened(database, engine(), draws=4096)
    with database.reading() as connection:
        [box] = read_forecast_boxes(connection)
        answer_json = read_forecasts(connection, [box.number])[box.number]
    batch = json.loads(answer_json)["scoring"]["forecast"]["batch"]["healthy"]
    rng = np.random.default_rng(4)
    held = expected = 0.0
    drawn = rng.choice(np.repeat(batch["counts"], batch["draws"]), 300)
    for healthy in drawn:
        first = min(int(healthy), 20)
        counts = [(first, 20), (int(healthy) - first, 12)]
        lines = tuple(
            CountedLine(i, box.lines[i].genus, box.lines[i].cultivar, k, n - k, 0, n) for i, (k, n) in enumerate(counts)
        )
        score = score_box(box._replace(lines=lines), answer_json)
        assert score is not None
        assert score.count is not None
        low, high, chance = score.count.ranges[1]
        held += low <= score.count.found <= high
        expected += chance
    # binomial: 3 standard errors
    assert abs(held - expected) < 3 * np.sqrt(300 * 0.9 * 0.1)


def test_lines_are_known_by_their_plants_whatever_their_order(database: Database) -> None:
    opened(database, engine())
    with database.reading() as connection:
        [box] = read_forecast_boxes(connection)
        answer_json = read_forecasts(connection, [box.number])[box.number]
    score, swapped = (score_box(box._replace(lines=lines), answer_json) for lines in (box.lines, box.lines[::-1]))
    assert score is not None
    assert swapped is not None
    assert swapped.forecast.log_score == pytest.approx(score.forecast.log_score, abs=1e-9)
    assert swapped.count == score.count


def test_a_forecast_stored_before_boxes_could_be_lost_is_scored_as_then(database: Database) -> None:
    """Without the three fields a box of dead plants scores as where it is never lost whole: worse than with them."""
    opened(database, engine(), routes=[COURIER | {"transit_days": fixed(3)}])
    with database.reading() as connection:
        [box] = read_forecast_boxes(connection)
        answer_json = read_forecasts(connection, [box.number])[box.number]
    dead = box._replace(lines=tuple(line._replace(healthy=0, damaged=0, dead=line.sent) for line in box.lines))

    def score(**changed: float | None) -> float:
        stored = json.loads(answer_json)
        hazards = stored["scoring"]["forecast"]["hazards"]
        for name, value in changed.items():
            if value is None:
                del hazards[name]
            else:
                hazards[name] = value
        scored = score_box(dead, json.dumps(stored))
        assert scored is not None
        return scored.forecast.log_score

    before = score(lost=None, lost_healthy=None, lost_dead=None)
    assert before == pytest.approx(score(lost=0.0), abs=1e-12)
    assert before > score() + 0.1


def test_ranges_are_of_the_plants_that_were_sent(database: Database) -> None:
    opened(database, engine(), draws=4096)
    with database.reading() as connection:
        [box] = read_forecast_boxes(connection)
        answer_json = read_forecasts(connection, [box.number])[box.number]

    def ranges(*sent: int) -> list[tuple[float, float, float]]:
        lines = tuple(
            line._replace(healthy=n, damaged=0, dead=0, sent=n) for line, n in zip(box.lines, sent, strict=True)
        )
        score = score_box(box._replace(lines=lines), answer_json)
        assert score is not None
        assert score.count is not None
        assert score.count.found == sum(sent)
        return list(score.count.ranges)

    as_ordered, fewer, few = ranges(20, 12), ranges(20, 11), ranges(5, 0)
    assert [high for _, high, _ in few] == [5, 5, 5]
    # One plant less: the counts drawn anew are about those stored; in 4,096 draws an end is loose by a plant or two.
    for (low, high, chance), (low_fewer, high_fewer, chance_fewer) in zip(as_ordered, fewer, strict=True):
        assert high - high_fewer in (0, 1)
        assert abs(low - low_fewer) <= 3
        assert chance_fewer == pytest.approx(chance, abs=0.08)
