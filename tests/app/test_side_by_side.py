"""Parts of an answer on several threads: the same answer, few threads, and no fault lost."""

import json
import threading

import pytest

from app.comparing.hold import answer_hold
from app.schemas import HoldRequest
from app.serving import Engine
from app.side_by_side import N_HELPERS, side_by_side
from tests.benchmarks.units import batch


def test_results_stand_in_the_order_of_the_parts() -> None:
    assert side_by_side(lambda part: part * part, range(50)) == [part * part for part in range(50)]
    assert side_by_side(lambda part: part, []) == []


def test_parts_meet_on_two_threads_and_calls_within_calls_end() -> None:
    """Each of two parts waits for the other; a part that asks for parts itself is answered by its own thread."""
    barrier = threading.Barrier(2, timeout=20)
    side_by_side(lambda _: barrier.wait(), range(2))
    within = side_by_side(lambda i: side_by_side(lambda j: (i, j), range(3)), range(3))
    assert within == [[(i, j) for j in range(3)] for i in range(3)]


def test_no_more_threads_than_the_calls_own_and_the_helpers() -> None:
    names: set[str] = set()

    def call() -> None:
        side_by_side(lambda _: names.add(threading.current_thread().name), range(200))

    callers = [threading.Thread(target=call, name=f"caller {i}") for i in range(4)]
    for caller in callers:
        caller.start()
    for caller in callers:
        caller.join()
    assert len([name for name in names if not name.startswith("caller")]) <= N_HELPERS


def test_a_fault_ends_the_call_and_the_next_one_works() -> None:
    done = []

    def work(part: int) -> int:
        if part == 3:
            raise ZeroDivisionError
        done.append(part)
        return part

    with pytest.raises(ZeroDivisionError):
        side_by_side(work, range(10_000))
    assert len(done) < 10_000
    assert side_by_side(lambda part: part, range(4)) == [0, 1, 2, 3]


def test_a_hold_answers_alike_however_many_threads_work(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = {**batch(), "earliest": "2027-01-11", "latest": "2027-01-15", "draws": 512}
    request, engine = HoldRequest.model_validate_json(json.dumps(asked)), Engine.load()
    together = answer_hold(request, engine).model_dump_json()
    monkeypatch.setattr("app.side_by_side.N_HELPERS", 0)
    assert answer_hold(request, engine).model_dump_json() == together
