"""Visits as iCalendar (RFC 5545): codes of people only, unless the clinic has chosen names.

Times are written in UTC: one event has one moment, every reader turns it into its own clock, and no
description of a time zone can be wrong. DTSTAMP and LAST-MODIFIED say when a visit was last changed.
"""

import uuid
from collections.abc import Iterable
from datetime import UTC, timedelta

from django.utils.crypto import salted_hmac
from icalendar import Calendar, Event

from evenfield.clinic.courses.models import BookingRules, Visit

MEDIA_TYPE = "text/calendar; charset=utf-8"


def calendar_file(visits: Iterable[Visit], clinic_name: str, rules: BookingRules) -> bytes:
    """An iCalendar object of these visits."""
    calendar = Calendar()
    calendar.add("prodid", "-//evenfield//clinic//EN")
    calendar.add("version", "2.0")
    calendar.add("name", clinic_name)  # RFC 7986
    calendar.add("x-wr-calname", clinic_name)  # what most readers look for instead
    calendar.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    for visit in visits:
        calendar.add_component(_event(visit, names=rules.names_in_calendars))
    written: bytes = calendar.to_ical()
    return written


def _event(visit: Visit, *, names: bool) -> Event:
    person = visit.person
    event = Event()
    event.add("uid", str(_uid(visit)))
    event.add("dtstamp", visit.revised.astimezone(UTC))
    event.add("last-modified", visit.revised.astimezone(UTC))
    event.add("dtstart", visit.planned_start.astimezone(UTC))
    event.add("dtend", visit.planned_end.astimezone(UTC))
    event.add("summary", f"{person.full_name} {person.shown_code}" if names else person.shown_code)
    if visit.room is not None:
        event.add("location", visit.room.name)
    event.add("class", "CONFIDENTIAL")
    event.add("status", "CONFIRMED")
    return event


def _uid(visit: Visit) -> uuid.UUID:
    """The same for a visit for ever, and telling nothing about it (RFC 7986, 5.3, advises a UUID)."""
    digest = salted_hmac("calendar", str(visit.pk), algorithm="sha256").digest()
    return uuid.UUID(bytes=digest[:16], version=4)
