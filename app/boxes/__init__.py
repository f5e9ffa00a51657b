"""A box from plan to recheck: planned, followed, unpacked, looked at again.

Every change goes through shipment_changes.change.
"""

from app.boxes.arrivals import decide_arrival, read_arrival
from app.boxes.claim_window import claim_until, counted_from, window_hours
from app.boxes.due_dates import expected_by, late_since, may_be_claimed
from app.boxes.next_steps import is_counted_again, recheck_on
from app.boxes.rechecks import RECHECK_BODY, decide_recheck
from app.boxes.shipment_answer import plant_lines
from app.boxes.shipment_changes import ChangeCall, Decide, change, change_checked, decide_confirm, delete
from app.boxes.shipment_lookup import answer_shipment, find_whole_shipment
from app.boxes.shipment_news import NEWS_BODY, decide_news
from app.boxes.shipment_pages import answer_page, page_query
from app.boxes.shipment_plans import change_plan, plan_shipment, stored_plan
from app.boxes.taking_back import TAKE_BACK_BODY, decide_take_back

__all__ = [
    "NEWS_BODY",
    "RECHECK_BODY",
    "TAKE_BACK_BODY",
    "ChangeCall",
    "Decide",
    "answer_page",
    "answer_shipment",
    "change",
    "change_checked",
    "change_plan",
    "claim_until",
    "counted_from",
    "decide_arrival",
    "decide_confirm",
    "decide_news",
    "decide_recheck",
    "decide_take_back",
    "delete",
    "expected_by",
    "find_whole_shipment",
    "is_counted_again",
    "late_since",
    "may_be_claimed",
    "page_query",
    "plan_shipment",
    "plant_lines",
    "read_arrival",
    "recheck_on",
    "stored_plan",
    "window_hours",
]
