"""What to attach to a claim."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from app.claims.draft import day_in_words
from app.schemas import LOGGER_SUMMARY, Evidence
from app.store import Reading, ShipmentLife

VIDEO_ENDINGS = (".3gp", ".avi", ".m4v", ".mkv", ".mov", ".mp4", ".mpg", ".webm", ".wmv")


def claim_evidence(life: ShipmentLife, trace: Sequence[Reading], zone: ZoneInfo) -> list[Evidence]:
    """Return what to attach; photographs and videos by the names that the arrival lists."""
    videos = [name for name in life.photos if name.lower().endswith(VIDEO_ENDINGS)]
    photos = [name for name in life.photos if name not in videos]
    found = [
        Evidence(
            code="photos",
            text="Photographs of the dead plants, their roots and stems, taken before trimming."
            if photos
            else "No photographs are listed. Take them now, of every dead plant with its roots and stem, and of the "
            "whole box; throw nothing away before the claim is settled.",
            files=photos,
        ),
        Evidence(
            code="unboxing_video",
            text="The video of the opening." if videos else "The video of the opening, if there is one.",
            files=videos,
        ),
        Evidence(
            code="box_label",
            text="A photograph of the label on the box: the number of the waybill, the weight, the date. Keep the box.",
            files=[],
        ),
    ]
    if trace:
        coldest, warmest = min(r.inside_c for r in trace), max(r.inside_c for r in trace)
        span = f"{_moment(trace[0].at, zone)} to {_moment(trace[-1].at, zone)}"
        readings = "1 reading" if len(trace) == 1 else f"{len(trace):,} readings"
        text = f"The logger's trace: {readings}, {span}, {coldest:g} to {warmest:g} °C."
        found.append(Evidence(code="logger", text=text, files=[]))
    elif said := _summary(life):
        found.append(Evidence(code="logger", text=f"The logger's trace; {said}.", files=[]))
    papers = "Copies of the order with its prices, the invoice and the waybill, and what the tracking page says."
    return [*found, Evidence(code="papers", text=papers, files=[])]


def _summary(life: ShipmentLife) -> str:
    """Return what is recorded of a logger without its readings; nothing where nothing is."""
    record = life.stored.record
    values = ((called, getattr(record, name)) for name, called in LOGGER_SUMMARY.items())
    return ", ".join(f"its {called} was {value:g} °C" for called, value in values if value is not None)


def _moment(at: datetime, zone: ZoneInfo) -> str:
    local = at.astimezone(zone)
    return f"{day_in_words(local.date())} {local:%H:%M}"
