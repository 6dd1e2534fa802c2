"""When an entry happened, told from a tablet whose clock may be wrong.

The tablet sends, by its own clock, when it wrote an entry and when it sent it; the difference is the entry's
age whatever the clock shows. It also sends what it believed the server's clock to be ahead of its own when it
wrote: if that gives another time, its clock was set in between and the entry is marked.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

MARKED_S = 5.0
"""A tablet clock wrong by more than this is said beside the entry."""


@dataclass(frozen=True)
class Happened:
    """When an entry counts, seconds from the visit's start, and what there is to say about the clock.

    `clock_off_s`: how far the tablet's clock was ahead of the server's when it sent, network included.
    `mark`: "" or a sentence for people.
    """

    at_s: float
    received_s: float
    clock_off_s: float
    mark: str


def happened(
    start: datetime, received: datetime, wrote_ms: float, sent_ms: float, believed_ms: float | None
) -> Happened:
    """Work it out from the visit's start and the server's own time of receipt."""
    received_s = (received - start).total_seconds()
    off_s = sent_ms / 1000.0 - received.timestamp()
    age_s = (sent_ms - wrote_ms) / 1000.0
    at_s = received_s - age_s
    mark = f"tablet clock {abs(off_s):.0f} s {'fast' if off_s > 0 else 'slow'}: corrected"
    mark = mark if abs(off_s) > MARKED_S else ""
    if not 0.0 <= at_s <= received_s:
        at_s = min(max(at_s, 0.0), received_s)
        mark = "time not certain: by the tablet's clock it was written before the visit or after it was sent"
    elif believed_ms is not None:
        believed = received_s - (received.timestamp() - (wrote_ms + believed_ms) / 1000.0)
        if abs(believed - at_s) > MARKED_S:
            mark = (
                f"time not certain: the tablet's clock was set by {abs(believed - at_s):.0f} s before sending"
            )
    return Happened(round(at_s, 3), round(received_s, 3), round(off_s, 3), mark)


def at(start: datetime, at_s: float) -> datetime:
    """The moment of a time of the visit."""
    return start + timedelta(seconds=at_s)
