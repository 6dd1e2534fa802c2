"""Courses, visits and their FHIR bundles through the API."""

import json
from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone
from ninja import Status

from evenfield.clinic.api.endpoints import looked_at, operation, someone, unfit
from evenfield.clinic.api.shapes import (
    CourseIn,
    CourseOut,
    Limit,
    Listed,
    Offset,
    Problem,
    SlotIn,
    VisitIn,
    VisitOut,
    Warned,
)
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.courses.booking import BookingWarning, Slot, confirmation, kinds, series, warnings
from evenfield.clinic.courses.calendar_days import counted_between, shown
from evenfield.clinic.courses.finding import course_or_404, visit_or_404
from evenfield.clinic.courses.forms import CourseForm, SlotForm
from evenfield.clinic.courses.models import BookingRules, Course, Visit
from evenfield.clinic.courses.visits import add_visits
from evenfield.clinic.exchange.fhir_bundle import FhirError
from evenfield.clinic.exchange.sending import send
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.people.models import Person

Answer = Status[Any]
_MOST_DAYS = 400
Bundle = dict[str, Any]


@operation("GET", "people/{code}/courses", "courses.view", name="api-courses", gives={200: Listed[CourseOut]})
def courses(request: HttpRequest, code: str, limit: Limit = 100, offset: Offset = 0) -> Answer:
    """A person's courses with their visits, the oldest first."""
    one = someone(code)
    looked_at("courses.course", "", one.pk)
    found = Course.objects.filter(person__in=one.one_person()).order_by("created", "pk")
    part = list(found[offset : offset + limit])
    visits: dict[int, list[Visit]] = {}
    for visit in _in_order(Visit.objects.filter(course__in=part)):
        visits.setdefault(visit.course_id, []).append(visit)
    items = [_course(course, one, visits.get(course.pk, [])) for course in part]
    return Status(200, {"items": items, "total": found.count(), "offset": offset, "limit": limit})


@operation(
    "POST", "people/{code}/courses", "courses.change", name="api-courses", gives={201: CourseOut, 409: Warned}
)
def add_course(request: HttpRequest, code: str, new: CourseIn) -> Answer:
    """A course with all its visits, spaced from the first on. Warnings lead to 409 with `confirm`."""
    one = someone(code)
    rules = BookingRules.present()
    form = CourseForm(new.model_dump(mode="json", exclude={"first", "confirm"}))
    slot_form = _slot_form(new.first)
    for each in (form, slot_form):
        if not each.is_valid():
            return unfit(each)
    course: Course = form.save(commit=False)
    course.person = one
    first = slot_form.slot()
    starts = series(first.start, course.visits_planned, course.spacing_days, rules)
    slots = [Slot(start, first.minutes, first.room, first.device, first.staff) for start in starts]
    with transaction.atomic():
        found = warnings(course, slots, rules, now=timezone.now())
        if found and new.confirm != confirmation(found, slots):
            return Status(409, _warned(found, slots))
        course.save()
        add_visits(course, slots, [kinds(found, place) for place in range(len(slots))])
    return Status(201, _course(course, one))


@operation("GET", "courses/{int:number}", "courses.view", name="api-course", gives={200: CourseOut})
def course(request: HttpRequest, number: int) -> Answer:
    """One course with its visits."""
    one = course_or_404(number)
    person = one.person.kept
    looked_at("courses.course", one.pk, person.pk)
    return Status(200, _course(one, person))


@operation(
    "POST",
    "courses/{int:number}/visits",
    "courses.change",
    name="api-course-visits",
    gives={201: VisitOut, 409: Warned},
)
def add_visit(request: HttpRequest, number: int, new: VisitIn) -> Answer:
    """One more visit of a course. Warnings lead to 409 with `confirm`."""
    one = course_or_404(number)
    form = _slot_form(new.slot)
    if not form.is_valid():
        return unfit(form)
    slots = [form.slot()]
    with transaction.atomic():
        found = warnings(one, slots, BookingRules.present(), now=timezone.now())
        if found and new.confirm != confirmation(found, slots):
            return Status(409, _warned(found, slots))
        visit = add_visits(one, slots, [kinds(found, 0)])[0]
    return Status(201, _visit(visit, one.person.kept))


@operation("GET", "visits", "courses.view", name="api-visits", gives={200: Listed[VisitOut]})
def visits(request: HttpRequest, first: date, last: date, limit: Limit = 100, offset: Offset = 0) -> Answer:
    """Visits from one day to another, both included, in order of time; a year or so at most."""
    if not (first.year >= 1970 and last.year <= 2200 and 0 <= (last - first).days <= _MOST_DAYS):
        words = f"Ask for at most {_MOST_DAYS} days, the last not before the first, between 1970 and 2200."
        return Status(422, {"detail": words})
    found = counted_between(first, last)
    in_order = found.order_by("planned_start", "pk").values_list("pk", flat=True)
    numbers = list(in_order[offset : offset + limit])
    part = list(shown(Visit.objects.filter(pk__in=numbers)))
    trail.record(Action.READ, kind="courses.visit", note=f"{first} to {last}, {len(part)} visits")
    items = [_visit(visit, visit.person.kept) for visit in part]
    return Status(200, {"items": items, "total": found.count(), "offset": offset, "limit": limit})


@operation("GET", "visits/{int:number}", "courses.view", name="api-visit", gives={200: VisitOut})
def visit(request: HttpRequest, number: int) -> Answer:
    """One visit."""
    one = visit_or_404(number)
    person = one.person.kept
    looked_at("courses.visit", one.pk, person.pk)
    return Status(200, _visit(one, person))


@operation(
    "GET", "people/{code}/fhir", "exchange.send", name="api-person-fhir", gives={200: Bundle, 409: Problem}
)
def person_fhir(request: HttpRequest, code: str) -> Answer:
    """All of one person as FHIR R4B bundle, without the pictures themselves."""
    return _bundle(someone(code))


@operation(
    "GET",
    "visits/{int:number}/fhir",
    "exchange.send",
    name="api-visit-fhir",
    gives={200: Bundle, 409: Problem},
)
def visit_fhir(request: HttpRequest, number: int) -> Answer:
    """One visit as FHIR R4B bundle, without the pictures themselves."""
    return _bundle(visit_or_404(number))


def _bundle(about: Person | Visit) -> Answer:
    try:
        return Status(200, json.loads(send(about, "fhir", Clinic.present()).content))
    except FhirError as error:
        return Status(409, {"detail": str(error)})


def _slot_form(slot: SlotIn) -> SlotForm:
    """The slot as the page's form takes it: a time of the clinic's clock, to the minute."""
    start = f"{timezone.localtime(slot.start):%Y-%m-%dT%H:%M}"
    return SlotForm({**slot.model_dump(exclude={"start"}), "planned_start": start})


def _warned(found: list[BookingWarning], slots: list[Slot]) -> Warned:
    problems = [f"{slots[one.slot].start.isoformat()}: {one.words}" for one in found]
    words = "Something speaks against these times; send it again with confirm to book all the same."
    return Warned(detail=words, problems=problems, confirm=confirmation(found, slots))


def _in_order(visits: Any) -> Iterable[Visit]:
    found: Iterable[Visit] = visits.select_related("room", "device", "staff").order_by("planned_start")
    return found


def _course(course: Course, person: Person, found: Iterable[Visit] | None = None) -> CourseOut:
    found = _in_order(course.visits) if found is None else found
    names = ("region", "side", "visits_planned", "spacing_days", "aim", "protocol_note", "state")
    return CourseOut(
        id=course.pk,
        person=person.code,
        visits=[_visit(visit, person) for visit in found],
        **{name: getattr(course, name) for name in names},
    )


def _visit(visit: Visit, person: Person) -> VisitOut:
    names = ("number", "planned_start", "minutes", "state", "reason", "started_at", "ended_at")
    return VisitOut(
        id=visit.pk,
        course=visit.course_id,
        person=person.code,
        room=str(visit.room or ""),
        device=str(visit.device or ""),
        staff=str(visit.staff or ""),
        **{name: getattr(visit, name) for name in names},
    )
