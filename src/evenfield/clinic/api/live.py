"""The running visit through the API: its zones, and skin readings entered into it."""

from typing import Any

from django.http import HttpRequest
from django.utils import timezone
from ninja import Status

from evenfield.clinic.api.endpoints import looked_at, operation
from evenfield.clinic.api.shapes import LiveOut, ReadingAnswer, ZoneReadingsIn
from evenfield.clinic.courses.finding import visit_or_404
from evenfield.clinic.visits.readings import SentReading, take_readings, zones_of

Answer = Status[Any]


@operation("GET", "visits/{int:number}/live", "visits.view", name="api-visit-live", gives={200: LiveOut})
def visit_live(request: HttpRequest, number: int) -> Answer:
    """Whether a visit is running, since when, and the zones in which skin is read."""
    one = visit_or_404(number)
    looked_at("courses.visit", one.pk, one.subject_id())
    told = {name: getattr(one, name) for name in ("state", "started_at", "ended_at")}
    return Status(200, LiveOut(visit=one.pk, zones=zones_of(one), **told))


@operation(
    "POST",
    "visits/{int:number}/readings",
    "visits.enter",
    name="api-visit-readings",
    gives={200: list[ReadingAnswer]},
)
def enter_readings(request: HttpRequest, number: int, new: ZoneReadingsIn) -> Answer:
    """Enter skin readings. Each has its own answer, given after the commit; the same id is kept once."""
    received = timezone.now()
    one = visit_or_404(number)
    sent = [SentReading(**reading.model_dump()) for reading in new.readings]
    answers = take_readings(one, sent, new.sent_ms, received)
    return Status(200, [ReadingAnswer(**answer.as_json()) for answer in answers])
