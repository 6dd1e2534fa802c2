"""Skin readings sent by a program or taken from a file: entries like a tablet's, with less leeway.

A tablet's reading in a zone that the plan does not have, or with a time before the visit, is kept and marked,
since someone saw what was tapped. A program has no such witness: it is told why and keeps nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.courses.visits import VisitError
from evenfield.clinic.visits.plans import plan_of
from evenfield.clinic.visits.recording import MOST_AT_ONCE, Kept, take_batch
from evenfield.clinic.visits.running import rows_of
from evenfield.thermometer.reading import SpotReading, reading_id
from evenfield.thermometer.table import FILE, TableError, decoded, read_table

AHEAD_S = 5.0
"""A reading written this much after it was sent has no time one could believe."""


@dataclass(frozen=True)
class SentReading:
    """One reading: id, when the sender's clock wrote it and how far it believed the server's ahead (ms)."""

    id: str
    wrote_ms: float
    offset_ms: float | None
    zone: str
    celsius: float
    error_k: float


def zones_of(visit: Visit) -> list[str]:
    """The names under which skin is read: of the plan kept with the beginning, else of the saved plan."""
    begun = next((row for row in rows_of(visit) if row.kind == "begin"), None) if visit.started_at else None
    plan = plan_of(begun.content if begun else visit.plan, visit.course.region)
    return [place["label"] for place in plan.places]


def take_readings(
    visit: Visit, readings: Sequence[SentReading], sent_ms: float, received: datetime
) -> list[Kept]:
    """Keep them as `take_batch` does, each with an answer of its own, in the order in which they came."""
    zones = zones_of(visit)
    faults = [_fault(visit, one, sent_ms, received, zones) for one in readings]
    good = [_entry(one) for one, fault in zip(readings, faults, strict=True) if not fault]
    kept = iter(take_batch(visit.pk, {"sent_ms": sent_ms, "entries": good}, received) if good else [])
    return [
        Kept(one.id, None, fault) if fault else next(kept)
        for one, fault in zip(readings, faults, strict=True)
    ]


def take_table(visit: Visit, content: bytes, error_k: float, received: datetime) -> int:
    """Enter all readings of a CSV file, or none; how many. Those entered before are not entered again.

    Raises `TableError` with a sentence for each line that cannot be taken, VisitError before the beginning.
    """
    began = visit.started_at
    if began is None:
        raise VisitError("The visit has not begun: nothing can be entered.")
    latest = min(visit.ended_at or received, received)
    here = timezone.get_current_timezone()
    found = read_table(decoded(content), zones_of(visit), began, latest, here)
    sent = [_sent(visit, one, error_k) for one in found]
    sent_ms = received.timestamp() * 1000.0
    with transaction.atomic():
        answers: list[Kept] = []
        for place in range(0, len(sent), MOST_AT_ONCE):
            answers += take_readings(visit, sent[place : place + MOST_AT_ONCE], sent_ms, received)
        refused = [
            f"{one.stamp}, {one.zone}: {answer.refused}"
            for one, answer in zip(found, answers, strict=True)
            if answer.refused
        ]
        if refused:
            raise TableError("Readings of this file were refused, so none of it was taken.", refused)
    return len(answers)


def _sent(visit: Visit, one: SpotReading, error_k: float) -> SentReading:
    assert one.stamp
    wrote_ms, celsius = one.stamp.timestamp() * 1000.0, round(one.celsius, 4)
    return SentReading(reading_id(visit.pk, FILE, one.same), wrote_ms, None, one.zone, celsius, error_k)


def _fault(
    visit: Visit, reading: SentReading, sent_ms: float, received: datetime, zones: Sequence[str]
) -> str:
    """Why it is not taken, in one sentence; "" if nothing speaks against it here."""
    if reading.zone not in zones:
        return f"This visit has no zone “{reading.zone}”; its zones are: {', '.join(zones)}."
    age_s = (sent_ms - reading.wrote_ms) / 1000.0
    if age_s < -AHEAD_S:
        return "By its own time this reading was made after it was sent."
    if visit.started_at is not None and (received - visit.started_at).total_seconds() < age_s:
        return "This reading was made before the visit began."
    if visit.ended_at is not None and (received - visit.ended_at).total_seconds() > age_s:
        return "This reading was made after the visit was closed."
    return ""


def _entry(one: SentReading) -> dict[str, Any]:
    event = {"kind": "skin_reading", "zone": one.zone, "celsius": one.celsius, "error_c": one.error_k}
    return {"id": one.id, "wrote_ms": one.wrote_ms, "offset_ms": one.offset_ms, "event": event}
