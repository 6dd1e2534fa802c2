"""Taking entries from a tablet: once each, chained, and each with an answer of its own.

Times are seconds from the visit's start as stored with it. An answer "kept" is given after the commit.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.visits.clocks import happened
from evenfield.clinic.visits.models import VisitEntry
from evenfield.conduct import EventError, event_from_mapping
from evenfield.conduct.events import event_to_mapping

MOST_AT_ONCE = 50
_STORED = {VisitState.RUNNING, VisitState.DONE}


@dataclass(frozen=True)
class Kept:
    """The answer to one entry: its number in the chain, or why it was refused."""

    id: str
    number: int | None
    refused: str = ""

    def as_json(self) -> dict[str, Any]:
        """For the tablet."""
        return {
            "id": self.id,
            "kept": self.number is not None,
            "number": self.number,
            "refused": self.refused,
        }


class BatchError(ValueError):
    """A sending that cannot be read at all; one sentence."""


def take_batch(number: int, body: Any, received: datetime | None = None) -> list[Kept]:
    """Keep what one sending holds, each entry for itself: a refused one does not hold up the others.

    `number` is the visit's. Raises BatchError if the sending as a whole cannot be read, and
    Visit.DoesNotExist for a visit that is not there or of someone erased; nothing is kept then.
    """
    entries, sent_ms = _opened(body)
    received = received or timezone.now()
    with transaction.atomic():
        there = Visit.objects.filter(course__person__erased__isnull=True)
        now = there.select_related("course").get(pk=number)
        return [_taken(now, entry, sent_ms, received) for entry in entries]


def _opened(body: Any) -> tuple[list[dict[str, Any]], float]:
    if not isinstance(body, dict) or not isinstance(body.get("entries"), list):
        raise BatchError("A sending is a table with entries and sent_ms.")
    entries: list[dict[str, Any]] = body["entries"]
    sent_ms: Any = body.get("sent_ms")
    if not _number(sent_ms) or not 0 < len(entries) <= MOST_AT_ONCE:
        raise BatchError(f"A sending has 1 to {MOST_AT_ONCE} entries and sent_ms, a number.")
    for entry in entries:
        if not (isinstance(entry, dict) and isinstance(entry.get("id"), str) and 8 <= len(entry["id"]) <= 40):
            raise BatchError("Each entry has an id of 8 to 40 characters.")
    return entries, float(sent_ms)


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15


def _taken(visit: Visit, entry: Mapping[str, Any], sent_ms: float, received: datetime) -> Kept:
    name = entry["id"]
    try:
        content = _content(visit, entry, sent_ms, received)
        held = VisitEntry.objects.filter(entry_id=name).select_related("kept").first()
        if held is not None:
            return _again(held, visit, content)
    except EventError as error:
        return Kept(name, None, str(error))
    row = VisitEntry.of(visit, content["event"]["kind"], name, content)
    return Kept(name, row.number)


def _content(visit: Visit, entry: Mapping[str, Any], sent_ms: float, received: datetime) -> dict[str, Any]:
    """What is stored. Raises EventError with one sentence for people."""
    start = visit.started_at
    if visit.state not in _STORED or start is None:
        raise EventError(f"This visit is {VisitState(visit.state).label}: nothing can be entered.")
    wrote: Any = entry.get("wrote_ms")
    believed, said = entry.get("offset_ms"), entry.get("event")
    if not _number(wrote) or not (believed is None or _number(believed)) or not isinstance(said, dict):
        raise EventError("The entry lacks its time or what it says.")
    time = happened(start, received, float(wrote), sent_ms, believed)
    told = {**said, "id": entry["id"], "at_s": time.at_s, "received_s": time.received_s}
    if said.get("kind") == "correction":
        told["replacement"] = _replacement(visit, entry["id"], said)
    event = event_from_mapping(told)
    content: dict[str, Any] = {
        "event": event_to_mapping(event),
        "clock": {"off_s": time.clock_off_s, "mark": time.mark},
    }
    if visit.state == VisitState.DONE:
        content["after_closing"] = True
    if isinstance(entry.get("by"), int):
        content["by"] = entry["by"]
    return content


def _replacement(visit: Visit, name: str, said: Mapping[str, Any]) -> dict[str, Any] | None:
    """The replacement under an id of its own, at the time of what it corrects unless it gives one."""
    corrected = VisitEntry.objects.filter(visit=visit, entry_id=str(said.get("of"))).first()
    if corrected is None or "event" not in corrected.content:
        raise EventError("The entry to correct is not in this visit.")
    replacement = said.get("replacement")
    if replacement is None:
        return None
    if not isinstance(replacement, dict):
        raise EventError("The replacement must say what holds instead.")
    at_s = replacement.get("at_s", corrected.content["event"]["at_s"])
    return {**replacement, "id": f"{name}-new", "at_s": at_s, "received_s": None}


def _again(held: VisitEntry, visit: Visit, content: Mapping[str, Any]) -> Kept:
    """Sent a second time: the same answer, unless it says something else under the same id."""
    if held.visit_id != visit.pk or _said(held.content) != _said(content):
        raise EventError("Another entry was kept under this id; enter it anew.")
    return Kept(held.entry_id, held.number)


def _said(content: Mapping[str, Any]) -> dict[str, Any]:
    event = content.get("event", {})
    return {name: value for name, value in event.items() if name not in ("at_s", "received_s")}
