"""What tracking notes say of a box, and when the legs of its journey end."""

import numpy as np
import pytest

from model.exposure.tracking import Tracked, share_ahead, track, tracked_ends
from model.reference.row_types import Leg
from model.reference.tables import load_reference

LEGS = {"at_hub": 4, "in_clearance": 6}


def courier() -> tuple[Leg, ...]:
    return tuple(load_reference().legs["courier"])


@pytest.mark.parametrize(
    ("notes", "expected"),
    [
        ([], Tracked()),
        ([(0.5, "departed")], Tracked()),
        ([(2.0, "at_hub"), (2.5, "at_hub")], Tracked(((4, 2.0),))),
        ([(2.0, "at_hub"), (4.0, "in_clearance")], Tracked(((4, 2.0), (6, 4.0)))),
        ([(4.0, "in_clearance"), (5.0, "at_hub")], Tracked(((4, 5.0),))),
        ([(3.0, "held")], Tracked(held_since=3.0)),
        ([(3.0, "held"), (4.0, "held"), (5.5, "released")], Tracked(held_days=2.5)),
        ([(3.0, "held"), (4.0, "released"), (6.0, "held")], Tracked(held_since=6.0, held_days=1.0)),
        ([(3.0, "held"), (4.0, "released"), (6.0, "held"), (6.5, "released")], Tracked(held_days=1.5)),
        ([(2.0, "at_hub"), (3.0, "held"), (6.0, "in_clearance")], Tracked(((4, 2.0), (6, 6.0)))),
        ([(2.0, "released")], Tracked()),
        ([(-1.0, "at_hub")], Tracked(((4, 0.0),))),
    ],
)
def test_notes_are_read_in_order(notes: list[tuple[float, str]], expected: Tracked) -> None:
    """Expected by hand: a leg begins with its first note, and a hold ends with its release or with another leg."""
    assert track(notes, LEGS) == expected


def test_share_ahead_adds_up_the_table() -> None:
    """Of the table: hub 0.25, second flight 0.08, clearance 0.18, last mile 0.12."""
    assert share_ahead(courier(), 4) == pytest.approx(0.63)
    assert share_ahead(courier(), 6) == pytest.approx(0.30)
    assert share_ahead(courier(), 0) == pytest.approx(1.0)


def test_ends_meet_every_known_moment() -> None:
    """By hand: hub from day 2, clearance from day 4, 3 days ahead shared 18 : 12, half a day of papers."""
    tracked = Tracked(((4, 2.0), (6, 4.0)))
    ends = tracked_ends(courier(), tracked, np.array([3.0, 6.0]), added_days={"clearance": np.array([0.0, 0.5])})
    hours = dict(zip([leg.leg for leg in courier()], ends.tolist(), strict=True))
    assert hours["wait"] == [12.0, 12.0]
    # 36 h of day 0.5 to 2 are shared 17 : 4 : 16.
    assert hours["origin_shed"] == pytest.approx([12.0 + 36.0 * 17 / 37] * 2)
    assert hours["flight"] == pytest.approx([48.0, 48.0])
    # 48 h of day 2 to 4 are shared 25 : 8.
    assert hours["hub"] == pytest.approx([48.0 + 48.0 * 25 / 33] * 2)
    assert hours["hub_flight"] == pytest.approx([96.0, 96.0])
    assert hours["clearance"] == pytest.approx([96.0 + 72.0 * 0.6, 96.0 + 144.0 * 0.6 + 12.0])
    assert hours["last_mile"] == pytest.approx([168.0, 96.0 + 144.0 + 12.0])


def test_the_wait_is_half_of_a_short_beginning() -> None:
    ends = tracked_ends(courier(), Tracked(((4, 0.5),)), np.ones(1), added_days={})
    assert ends[0, 0] == 6.0
    assert ends[3, 0] == pytest.approx(12.0)


def test_a_note_at_the_closing_leaves_no_time_before() -> None:
    ends = tracked_ends(courier(), Tracked(((6, 0.0),)), np.ones(1), added_days={})
    assert ends[5, 0] == 0.0
    assert ends[-1, 0] == pytest.approx(24.0)


def test_a_leg_must_be_known() -> None:
    with pytest.raises(ValueError, match="no leg"):
        tracked_ends(courier(), Tracked(), np.ones(1), added_days={})
