"""What this part holds about a person, and how it is blanked."""

from typing import Any

from evenfield.clinic.audit.recorded import unrecorded
from evenfield.clinic.courses.calendar_file import forget_events
from evenfield.clinic.courses.models import Course, Visit, VisitState
from evenfield.clinic.parts import Holding
from evenfield.clinic.people.models import Person

_COURSE = (
    "region", "side", "visits_planned", "spacing_days", "aim", "protocol_note", "state",
    "state_reason", "created",
)  # fmt: skip
_VISIT = (
    "number", "planned_start", "minutes", "state", "reason", "despite", "plan", "started_at", "ended_at",
)  # fmt: skip


def exported(people: list[Person]) -> Holding:
    """Every course with its visits; rooms, devices and staff by name."""
    courses = Course.objects.filter(person__in=people).prefetch_related(
        "visits__room", "visits__device", "visits__staff"
    )
    return Holding({"courses": [_course(course) for course in courses.order_by("created", "pk")]}, {})


def _course(course: Course) -> dict[str, Any]:
    return {name: getattr(course, name) for name in _COURSE} | {
        "visits": [_visit(visit) for visit in course.visits.all()]
    }


def _visit(visit: Visit) -> dict[str, Any]:
    where = {name: str(getattr(visit, name) or "") for name in ("room", "device", "staff")}
    return {name: getattr(visit, name) for name in _VISIT} | where


def blank(people: list[Person]) -> None:
    """Leave times, places and states without words; what was only planned no longer takes up time."""
    visits = unrecorded(Visit).filter(course__person__in=people)
    visits.update(reason="", plan={})
    visits.filter(state=VisitState.PLANNED).update(state=VisitState.CANCELLED)
    unrecorded(Course).filter(person__in=people).update(aim="", protocol_note="", state_reason="", side="")
    forget_events()
