"""Plans of the invented clinic, made from what its invented clients were measured to be."""

from evenfield.case import case_to_toml
from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.planning.models import Plan
from evenfield.clinic.planning.prefill import PlanFor, start
from evenfield.clinic.planning.sheet import Problems, case_of


def make_plan() -> None:
    """A plan for the first planned visit of someone measured there; its forecast waits to be asked for."""
    wanted = Visit.objects.select_related("course__person", "device", "room")
    for visit in wanted.filter(state=VisitState.PLANNED, device__isnull=False).order_by("pk"):
        course = visit.course
        planned = PlanFor(course.person, course.region_kind, course.side, visit, visit.device, visit.room)
        begun = start(planned)
        watts = {"abdomen": "60", "flank": "60", "thigh": "45"}.get(course.region, "28")
        try:
            case = case_of(begun.values | {"session.power": watts, "session.minutes": "30"})
        except Problems:
            continue
        Plan(
            person=course.person,
            visit=visit,
            device=visit.device,
            region=course.region,
            side=course.side,
            case=case_to_toml(case),
            sources=begun.sources | {"session.power": "invented", "session.minutes": "invented"},
        ).save()
        return
