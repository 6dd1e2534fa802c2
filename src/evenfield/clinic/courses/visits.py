"""The steps of a visit, each with what it refuses: planned, moved, begun, ended, missed, cancelled."""

from collections.abc import Sequence
from datetime import datetime

from django.db import models, transaction
from django.utils import timezone

from evenfield.clinic.courses.booking import Slot, shifted
from evenfield.clinic.courses.models import BookingRules, Course, Visit, VisitState
from evenfield.clinic.people.models import Person


class VisitError(ValueError):
    """A step that this visit cannot take; one clear sentence."""


def add_visits(course: Course, slots: Sequence[Slot], despite: Sequence[str]) -> list[Visit]:
    """Put planned visits into a course; `despite` are the kinds of warnings confirmed for each."""
    added = []
    with transaction.atomic():
        last = course.visits.aggregate(models.Max("number"))["number__max"] or 0
        for place, (slot, confirmed) in enumerate(zip(slots, despite, strict=True)):
            visit = Visit(course=course, number=last + 1 + place, despite=confirmed)
            _put(visit, slot)
            added.append(visit)
    return added


def move_visit(visit: Visit, slot: Slot, despite: str = "") -> Visit:
    """Another time, room, device or member of staff. Raises VisitError unless the visit is planned."""
    with transaction.atomic():
        one = _locked(visit, VisitState.PLANNED, "be moved")
        one.despite = despite
        _put(one, slot)
    return one


def later_visits(visit: Visit, before: datetime) -> list[Visit]:
    """The planned visits of the same course after the time at which this one was planned before."""
    found = Visit.objects.filter(
        course_id=visit.course_id, state=VisitState.PLANNED, planned_start__gt=before
    ).exclude(pk=visit.pk)
    return list(found.select_related("course", "room", "device", "staff").order_by("planned_start"))


def slots_after_move(
    moved: Slot, before: datetime, later: Sequence[Visit], rules: BookingRules
) -> list[Slot]:
    """The moved visit's slot, and those of the later ones by as many days, each at its own hour."""
    days = (moved.day - timezone.localtime(before).date()).days
    slots = [moved]
    for visit in later:
        hour = timezone.localtime(visit.planned_start).time()
        start = shifted(visit.planned_start, days, hour, rules)
        slots.append(Slot(start, visit.minutes, visit.room, visit.device, visit.staff))
    return slots


def _put(visit: Visit, slot: Slot) -> None:
    visit.planned_start, visit.minutes = slot.start, slot.minutes
    visit.room, visit.device, visit.staff = slot.room, slot.device, slot.staff
    visit.save()


def last_begun(people: Sequence[Person]) -> datetime | None:
    """When the last visit of one person began, given as the kept record and those merged into it; beginning
    it used up what was asked and gone through before. None if none was begun."""
    found = Visit.objects.filter(course__person__in=people, started_at__isnull=False)
    newest: datetime | None = found.aggregate(newest=models.Max("started_at"))["newest"]
    return newest


def begin_visit(visit: Visit, at: datetime | None = None, reason: str = "") -> Visit:
    """The visit runs from `at` (now); `reason` says why in spite of what spoke against it.

    Raises VisitError unless it was planned and no other visit of the same person runs.
    """
    with transaction.atomic():
        people = visit.person.kept.one_person()
        list(Person.objects.select_for_update().filter(pk__in=[one.pk for one in people]))  # one at a time
        running = Visit.objects.filter(course__person__in=people, state=VisitState.RUNNING)
        other = running.exclude(pk=visit.pk).select_related("course").first()
        if other is not None:
            raise VisitError(f"Another visit of this person is running ({other.course.region_words}).")
        one = _locked(visit, VisitState.PLANNED, "begin")
        one.state, one.started_at = VisitState.RUNNING, at or timezone.now()
        one.reason = reason.strip()
        one.save()
    return one


def unbegin_visit(visit: Visit, reason: str) -> Visit:
    """A visit begun by mistake is planned again. Raises VisitError unless it runs and a reason is given."""
    if not reason.strip():
        raise VisitError("Say why.")
    with transaction.atomic():
        one = _locked(visit, VisitState.RUNNING, "be taken back")
        one.state, one.started_at, one.reason = VisitState.PLANNED, None, reason.strip()
        one.save()
    return one


def end_visit(visit: Visit, at: datetime | None = None) -> Visit:
    """The visit is done at `at` (now). Raises VisitError unless it runs."""
    with transaction.atomic():
        one = _locked(visit, VisitState.RUNNING, "end")
        one.state, one.ended_at = VisitState.DONE, at or timezone.now()
        one.save()
    return one


def cancel_visit(visit: Visit, reason: str) -> Visit:
    """The visit does not take place. Raises VisitError unless it was planned and a reason is given."""
    return _fall_out(visit, VisitState.CANCELLED, reason, "be cancelled")


def miss_visit(visit: Visit, reason: str) -> Visit:
    """Nobody came. Raises VisitError unless it was planned, its start is past, and a reason is given."""
    if visit.planned_start > timezone.now():
        raise VisitError("A visit can only be missed after its time; cancel it instead.")
    return _fall_out(visit, VisitState.MISSED, reason, "be missed")


def _fall_out(visit: Visit, state: VisitState, reason: str, words: str) -> Visit:
    if not reason.strip():
        raise VisitError("Say why.")
    with transaction.atomic():
        one = _locked(visit, VisitState.PLANNED, words)
        one.state, one.reason = state, reason.strip()
        one.save()
    return one


def _locked(visit: Visit, wanted: VisitState, words: str) -> Visit:
    """The row as it is now, held until the step is done, so that two screens cannot both take it."""
    one = Visit.objects.select_for_update(of=("self",)).select_related("course").get(pk=visit.pk)
    assert isinstance(one, Visit)
    if one.state != wanted:
        raise VisitError(f"A visit that is {VisitState(one.state).label} cannot {words}.")
    return one
