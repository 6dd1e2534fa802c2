"""Courses and visits: planned, moved, cancelled, missed; the clinic's rules for booking."""

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.courses.booking import (
    BookingWarning,
    Slot,
    confirmation,
    kinds,
    series,
    warnings,
    whole_person,
)
from evenfield.clinic.courses.finding import course_or_404, visit_or_404
from evenfield.clinic.courses.forms import (
    BookingRulesForm,
    CourseForm,
    CourseStateForm,
    MoveForm,
    SlotForm,
    VisitReasonForm,
)
from evenfield.clinic.courses.models import BookingRules, Course, Visit, VisitState
from evenfield.clinic.courses.overview import COURSES_AT_ONCE, courses_of, line_of, open_courses
from evenfield.clinic.courses.visits import (
    VisitError,
    add_visits,
    cancel_visit,
    later_visits,
    miss_visit,
    move_visit,
    slots_after_move,
)
from evenfield.clinic.parts import clinic_parts
from evenfield.clinic.people.views import present_person
from evenfield.clinic.whole_numbers import whole_number

_OPEN_AT_ONCE = 50
_FURTHEST = 1_000_000


@requires("courses.change")
def add_course(request: StaffRequest, code: str) -> HttpResponse:
    """A course and all its visits at once, with the usual spacing."""
    person = present_person(code)
    rules = BookingRules.present()
    usual = {"visits_planned": rules.visits, "spacing_days": rules.spacing_days, "minutes": rules.minutes}
    form = CourseForm(request.POST or None, initial=usual)
    slot_form = SlotForm(request.POST or None, initial=usual)
    slot_form.fields["planned_start"].label = "First visit"
    context: dict[str, Any] = {"person": person, "form": form, "slot_form": slot_form}
    if request.method == "POST" and form.is_valid() and slot_form.is_valid():
        course: Course = form.save(commit=False)
        course.person = person
        first = slot_form.slot()
        starts = series(first.start, course.visits_planned, course.spacing_days, rules)
        slots = [Slot(start, first.minutes, first.room, first.device, first.staff) for start in starts]
        with transaction.atomic():
            found = warnings(course, slots, rules, now=timezone.now())
            if _confirmed(request, found, slots, context):
                course.save()
                add_visits(course, slots, [kinds(found, place) for place in range(len(slots))])
                messages.success(request, f"{len(slots)} visits planned.")
                return redirect("person", code=person.code)
    return render(request, "courses/add.html", context)


@requires("courses.change")
def add_visit(request: StaffRequest, number: int) -> HttpResponse:
    """One more visit of a course: in place of one that fell out, or beyond the plan."""
    course = course_or_404(number)
    rules = BookingRules.present()
    last = course.visits.order_by("-planned_start").first()
    initial: dict[str, Any] = {"minutes": rules.minutes}
    if last:
        initial |= {name: getattr(last, name) for name in ("minutes", "room", "device", "staff")}
        after = max(last.planned_start, timezone.now())
        initial["planned_start"] = series(after, 2, course.spacing_days, rules)[1]
    form = SlotForm(request.POST or None, initial=initial)
    context: dict[str, Any] = {"course": course, "form": form, "title": "Another visit"}
    if request.method == "POST" and form.is_valid():
        slots = [form.slot()]
        with transaction.atomic():
            found = warnings(course, slots, rules, now=timezone.now())
            if _confirmed(request, found, slots, context):
                add_visits(course, slots, [kinds(found, 0)])
                messages.success(request, "Planned.")
                return redirect("person", code=course.person.code)
    return render(request, "courses/slot.html", context)


@requires("courses.change")
def change_course(request: StaffRequest, number: int) -> HttpResponse:
    """Change what a course is for; its visits stay where they are."""
    course = course_or_404(number)
    form = CourseForm(request.POST or None, instance=course)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("person", code=course.person.code)
    return render(request, "courses/form.html", {"form": form, "course": course, "title": "Course"})


@requires("courses.change")
def course_state(request: StaffRequest, number: int) -> HttpResponse:
    """Finish, stop or take up a course again."""
    course = course_or_404(number)
    form = CourseStateForm(request.POST or None, instance=course)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        left = course.visits.filter(state=VisitState.PLANNED).count()
        if left and course.state != "open":
            messages.warning(request, f"{left} planned visits are still in the calendar; cancel them.")
        return redirect("person", code=course.person.code)
    return render(request, "courses/form.html", {"form": form, "course": course, "title": "Finish or stop"})


@requires("courses.view")
def visit(request: StaffRequest, number: int) -> HttpResponse:
    """One visit: when and where, what is missing, what was planned."""
    one = visit_or_404(number)
    trail.record(Action.READ, kind="courses.visit", object_id=one.pk, subject_id=one.subject_id())
    links = [
        entry
        for part in clinic_parts()
        for entry in part.visit_links()
        if request.user.has_perm(entry.permission)
    ]
    context = {
        "visit": one,
        "line": line_of(one),
        "links": links,
        "person": whole_person(one.course)[0],
        "past": one.planned_start <= timezone.now(),
    }
    return render(request, "courses/visit.html", context)


@requires("courses.change")
def move(request: StaffRequest, number: int) -> HttpResponse:
    """Another time, room, device or member of staff."""
    one = visit_or_404(number)
    if one.state != VisitState.PLANNED:
        messages.error(request, f"A visit that is {one.get_state_display()} cannot be moved.")
        return redirect("visit", number=one.pk)
    before = one.planned_start
    form = MoveForm(request.POST or None, instance=one)
    context: dict[str, Any] = {"course": one.course, "visit": one, "form": form, "title": "Move the visit"}
    if request.method == "POST" and form.is_valid():
        rules = BookingRules.present()
        with transaction.atomic():
            visits = [one, *(later_visits(one, before) if form.cleaned_data["also_later"] else ())]
            slots = slots_after_move(form.slot(), before, visits[1:], rules)
            found = warnings(one.course, slots, rules, now=timezone.now(), moving=visits)
            if _confirmed(request, found, slots, context):
                return _moved(request, visits, slots, found)
    return render(request, "courses/slot.html", context)


def _moved(
    request: StaffRequest, visits: list[Visit], slots: list[Slot], found: list[BookingWarning]
) -> HttpResponse:
    try:
        with transaction.atomic():
            for place, (visit, slot) in enumerate(zip(visits, slots, strict=True)):
                move_visit(visit, slot, kinds(found, place))
    except VisitError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "Moved." if len(visits) == 1 else f"{len(visits)} visits moved.")
    return redirect("visit", number=visits[0].pk)


@requires("courses.change")
def cancel(request: StaffRequest, number: int) -> HttpResponse:
    """The visit does not take place."""
    return _fall_out(request, number, cancel_visit, "Cancel the visit", "Cancelled.", "be cancelled")


@requires("courses.change")
def missed(request: StaffRequest, number: int) -> HttpResponse:
    """Nobody came."""
    return _fall_out(request, number, miss_visit, "Nobody came", "Marked as missed.", "be missed")


@requires("courses.view")
def open_courses_page(request: StaffRequest) -> HttpResponse:
    """Open courses, those without a next visit first, so many at a time."""
    first = _from(request)
    found = open_courses(first, _OPEN_AT_ONCE + 1)
    shown = found[:_OPEN_AT_ONCE]
    trail.record(Action.READ, kind="courses.course", note=f"open courses, {len(shown)}")
    context: dict[str, Any] = {"courses": shown}
    context |= _turning(first, len(shown), _OPEN_AT_ONCE, more=len(found) > len(shown))
    return render(request, "courses/open.html", context)


@requires("courses.view")
def person_courses(request: StaffRequest, code: str) -> HttpResponse:
    """All courses of one person, so many at a time: open ones first, then the newest."""
    person = present_person(code)
    first = _from(request)
    found = courses_of(person.one_person(), first, COURSES_AT_ONCE + 1)
    shown = found[:COURSES_AT_ONCE]
    trail.record(Action.READ, kind="courses.course", subject_id=person.pk, note=f"{len(shown)} courses")
    section = {
        "courses": shown,
        "code": person.code,
        "may_change": request.user.has_perm("courses.change"),
    }
    context: dict[str, Any] = {"person": person, "section": section}
    context |= _turning(first, len(shown), COURSES_AT_ONCE, more=len(found) > len(shown))
    return render(request, "courses/person.html", context)


def _from(request: StaffRequest) -> int:
    """From which place on a list is asked for."""
    return min(whole_number(request.GET.get("from", "")) or 0, _FURTHEST)


def _turning(first: int, shown: int, at_once: int, *, more: bool) -> dict[str, int]:
    """Which places are shown, and from where the earlier and the further ones begin."""
    told = {"first": first + 1, "last": first + shown}
    told |= {"earlier": max(0, first - at_once)} if first else {}
    return told | ({"later": first + at_once} if more else {})


@requires("courses.rules")
def booking_rules(request: StaffRequest) -> HttpResponse:
    """Usual number, spacing, length; opening hours; what calendars elsewhere may hold."""
    form = BookingRulesForm(request.POST or None, instance=BookingRules.present())
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("booking-rules")
    return render(request, "courses/rules.html", {"form": form})


def _fall_out(
    request: StaffRequest, number: int, step: Any, title: str, done: str, words: str
) -> HttpResponse:
    one = visit_or_404(number)
    if one.state != VisitState.PLANNED:
        messages.error(request, f"A visit that is {one.get_state_display()} cannot {words}.")
        return redirect("visit", number=one.pk)
    form = VisitReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            step(one, form.cleaned_data["reason"])
        except VisitError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, done)
            return redirect("visit", number=one.pk)
    return render(request, "courses/reason.html", {"form": form, "visit": one, "title": title})


def _confirmed(
    request: StaffRequest, found: list[BookingWarning], slots: list[Slot], context: dict[str, Any]
) -> bool:
    """Whether nothing speaks against it or just this was confirmed; else the page is given the warnings."""
    asked = confirmation(found, slots)
    if not found or request.POST.get("confirm") == asked:
        return True
    rows = [(slot, [one.words for one in found if one.slot == place]) for place, slot in enumerate(slots)]
    context |= {"confirm": asked, "rows": rows, "warned": True}
    return False
