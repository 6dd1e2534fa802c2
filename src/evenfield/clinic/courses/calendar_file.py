"""Visits as iCalendar (RFC 5545): codes of people only, unless the clinic has chosen names.

Times are written in UTC: one event has one moment, every reader turns it into its own clock, and no
description of a time zone can be wrong. DTSTAMP and LAST-MODIFIED say when a visit was last changed.
"""

import uuid
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import NamedTuple

from django.db.models import QuerySet
from django.utils.crypto import salted_hmac
from icalendar import Calendar, Event

from evenfield.clinic.courses.models import BookingRules, Visit
from evenfield.clinic.people.models import Person

MEDIA_TYPE = "text/calendar; charset=utf-8"


class CalendarLine(NamedTuple):
    """What an event is made of, as read from the rows without anything else of a visit."""

    number: int
    revised: datetime
    start: datetime
    minutes: int
    code: str
    given_name: str
    family_name: str
    erased: datetime | None
    room: str | None


def calendar_lines(visits: QuerySet[Visit]) -> list[CalendarLine]:
    """These visits in order of time. A calendar program asks for thousands of them every hour."""
    person = "course__person__"
    found = visits.order_by("planned_start", "pk").values_list(
        "pk", "revised", "planned_start", "minutes", f"{person}code", f"{person}given_name",
        f"{person}family_name", f"{person}erased", "room__name",
    )  # fmt: skip
    return [CalendarLine(*row) for row in found]


def calendar_file(visits: Iterable[CalendarLine], clinic_name: str, rules: BookingRules) -> bytes:
    """An iCalendar object of these visits."""
    calendar = Calendar()
    calendar.add("prodid", "-//evenfield//clinic//EN")
    calendar.add("version", "2.0")
    calendar.add("name", clinic_name)  # RFC 7986
    calendar.add("x-wr-calname", clinic_name)  # what most readers look for instead
    calendar.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    names = rules.names_in_calendars
    head, end, rest = calendar.to_ical().partition(b"END:VCALENDAR")
    events = b"".join(_event(visit, names=names) for visit in visits)
    written: bytes = head + events + end + rest
    return written


def forget_events() -> None:
    """Drop what is kept of events, some of which may be of someone erased."""
    _event.cache_clear()


@lru_cache(maxsize=20_000)
def _event(visit: CalendarLine, *, names: bool) -> bytes:
    """One event as written; kept, since the same is asked for again and again."""
    event = Event()
    event.add("uid", str(_uid(visit.number)))
    event.add("dtstamp", visit.revised.astimezone(UTC))
    event.add("last-modified", visit.revised.astimezone(UTC))
    event.add("dtstart", visit.start.astimezone(UTC))
    event.add("dtend", (visit.start + timedelta(minutes=visit.minutes)).astimezone(UTC))
    person = Person(
        code=visit.code, given_name=visit.given_name, family_name=visit.family_name, erased=visit.erased
    )
    event.add("summary", f"{person.full_name} {person.shown_code}" if names else person.shown_code)
    if visit.room is not None:
        event.add("location", visit.room)
    event.add("class", "CONFIDENTIAL")
    event.add("status", "CONFIRMED")
    written: bytes = event.to_ical()
    return written


def _uid(number: int) -> uuid.UUID:
    """The same for a visit for ever, and telling nothing about it (RFC 7986, 5.3, advises a UUID)."""
    digest = salted_hmac("calendar", str(number), algorithm="sha256").digest()
    return uuid.UUID(bytes=digest[:16], version=4)
