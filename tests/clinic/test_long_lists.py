"""Long lists come a part at a time, and no line of them is lost between two parts."""

import re
from collections.abc import Callable
from datetime import date, datetime, time, timedelta

import pytest
from django.test import Client

from evenfield.clinic.access import Role
from evenfield.clinic.audit.actor import Actor
from evenfield.clinic.courses import calendar_days, views
from evenfield.clinic.courses.booking import at_clinic
from evenfield.clinic.courses.calendar_file import CalendarLine, calendar_file
from evenfield.clinic.courses.models import BookingRules, Course, Visit
from evenfield.clinic.courses.overview import COURSES_AT_ONCE
from evenfield.clinic.people.models import Person

MONDAY = date(2031, 3, 3)


@pytest.fixture
def course(person: Callable[..., Person], terminal: Actor) -> Course:
    """A course of somebody."""
    made = Course(person=person(), region="thigh", side="left", visits_planned=6, spacing_days=14)
    made.save()
    return made


def visit(course: Course, number: int, day: date, hour: int) -> Visit:
    """A planned visit of it."""
    made = Visit(course=course, number=number, planned_start=at_clinic(day, time(hour)), minutes=30)
    made.save()
    return made


def test_a_week_shows_the_first_visits_of_a_full_day_and_the_way_to_the_others(
    course: Course, browser: Callable[..., Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(calendar_days, "MOST_OF_A_DAY", 3)
    client = browser(Role.OPERATOR)
    numbers = [visit(course, place, MONDAY, 8 + place).pk for place in range(1, 6)]
    alone = visit(course, 6, MONDAY + timedelta(days=1), 9).pk
    week = client.get(f"/courses/calendar/?day={MONDAY}").content.decode()
    shown = [int(one) for one in re.findall(r"/courses/visit/(\d+)/", week)]
    assert shown == [*numbers[:3], alone]
    assert "2 more on this day" in week
    day = client.get(f"/courses/calendar/?show=day&day={MONDAY}").content.decode()
    assert sorted({int(one) for one in re.findall(r"/courses/visit/(\d+)/", day)}) == numbers


def test_open_courses_are_turned_through(
    course: Course, browser: Callable[..., Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(views, "_OPEN_AT_ONCE", 2)
    for place in range(4):
        Course(person=course.person, region="calf", visits_planned=place + 1, spacing_days=14).save()
    client = browser(Role.OPERATOR)
    seen: list[int] = []
    address = "/courses/open/"
    while address and len(seen) < 9:
        page = client.get(address)
        seen += [one.course.pk for one in page.context["courses"]]
        following = re.search(r'href="(\?from=\d+)" rel="next"', page.content.decode())
        address = f"/courses/open/{following[1]}" if following else ""
    assert sorted(seen) == sorted(Course.objects.values_list("pk", flat=True))
    assert len(seen) == 5
    assert 'href="?from=2" rel="prev"' in page.content.decode()
    assert client.get("/courses/open/?from=99999999999999999999").status_code == 200
    assert len(client.get("/courses/open/?from=x").context["courses"]) == 2


def test_a_persons_page_shows_few_courses_open_ones_first_and_the_way_to_all(
    course: Course, browser: Callable[..., Client]
) -> None:
    for _ in range(COURSES_AT_ONCE + 1):
        Course(
            person=course.person, region="calf", state="finished", visits_planned=1, spacing_days=14
        ).save()
    client, code = browser(Role.OPERATOR), course.person.code
    page = client.get(f"/people/{code}/").content.decode()
    assert "2 earlier courses" in page
    assert page.index("Left thigh") < page.index("Calf")
    assert page.count("<h3>") == COURSES_AT_ONCE
    first = client.get(f"/courses/{code}/all/").content.decode()
    further = client.get(f"/courses/{code}/all/?from={COURSES_AT_ONCE}").content.decode()
    edits = re.findall(r"/courses/course/(\d+)/change/", first + further)
    assert sorted(int(one) for one in edits) == sorted(Course.objects.values_list("pk", flat=True))


def test_an_event_kept_as_written_changes_with_its_visit() -> None:
    """The text of an event is kept for the next time it is asked for; what it is made of decides."""
    moment = datetime.fromisoformat("2031-03-03T09:00:00+00:00")
    line = CalendarLine(1, moment, moment, 30, "ABC123", "Ines", "Pallandér", None, "One")
    written = calendar_file([line], "Invented", BookingRules())
    assert calendar_file([line], "Invented", BookingRules()) == written
    assert b"ABC-123" in written
    assert "Pallandér".encode() not in written
    moved = calendar_file([line._replace(start=moment + timedelta(hours=2))], "Invented", BookingRules())
    assert b"DTSTART:20310303T110000Z" in moved
    named = calendar_file([line], "Invented", BookingRules(names_in_calendars=True))
    assert "Ines Pallandér ABC-123".encode() in named
