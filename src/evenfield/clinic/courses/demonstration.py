"""Invented courses of the invented clients, at different points around the day they are made."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.utils import timezone

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.courses.booking import Slot, at_clinic, series
from evenfield.clinic.courses.models import BookingRules, Course, CourseState, Visit, VisitState
from evenfield.clinic.courses.visits import add_visits
from evenfield.clinic.devices.models import Device, TreatmentRoom
from evenfield.clinic.people.models import Person


@dataclass(frozen=True)
class _Invented:
    """A course: whose, what for, and how many of its visits lie before today."""

    family: str
    region: str
    side: str
    aim: str
    hour: int
    past: int
    visits: int = 6
    today: bool = False


_COURSES = (
    _Invented("Holvat", "thigh", "left", "the riding breeches should sit as they used to", 9, 2, today=True),
    _Invented("Pallandér", "abdomen", "", "less of a roll above the waistband", 11, 0, today=True),
    _Invented("Okkerveen", "upper_arm", "right", "sleeveless by midsummer", 14, 4, visits=4),
    _Invented("Quist", "flank", "", "the shirt should fall straight", 13, 1),
    _Invented("Mendelow", "calf", "left", "boots that close", 15, 3, today=True),
)


def make_courses() -> None:
    """One course each; one visit was missed, one course is over.

    The clinic is open on workdays and on days like today, so that today has visits whenever it is shown.
    """
    rules = BookingRules()
    rules.open_days = "".join(sorted({*rules.open_days, str(timezone.localdate().isoweekday())}))
    rules.save()
    rooms, device = list(TreatmentRoom.objects.all()), Device.objects.first()
    staff = Account.objects.get(username="operator")
    for place, invented in enumerate(_COURSES):
        person = Person.objects.get(family_name=invented.family)
        course = Course(
            person=person,
            region=invented.region,
            side=invented.side,
            aim=f"Invented: {invented.aim}.",
            protocol_note="Invented: as the clinic's own protocol has it, from the lowest level upwards.",
            visits_planned=invented.visits,
            spacing_days=rules.spacing_days,
        )
        if invented.past == invented.visits:
            course.state = CourseState.FINISHED
        course.save()
        starts = _starts(invented, rules)
        person.created = course.created = min(starts[0] - timedelta(days=7), timezone.now())
        person.save()
        course.save()
        room = rooms[place % len(rooms)]
        slots = [Slot(start, rules.minutes, room, device, staff) for start in starts]
        visits = add_visits(course, slots, [""] * len(slots))
        for past in visits[: invented.past]:
            _close(past)
    missed = Visit.objects.filter(course__person__family_name="Mendelow").order_by("planned_start")[0]
    missed.state, missed.reason = VisitState.MISSED, "Invented: forgotten."
    missed.started_at = missed.ended_at = None
    missed.save()


def _starts(invented: _Invented, rules: BookingRules) -> list[datetime]:
    """Back from today by the usual spacing, then forward."""
    today = timezone.localdate()
    first = today if invented.today else _next_open(today + timedelta(days=3), rules)
    begin = first - timedelta(days=rules.spacing_days * invented.past)
    return [*series(at_clinic(begin, time(invented.hour)), invented.visits, rules.spacing_days, rules)]


def done_visits() -> list[Visit]:
    """Every invented visit that took place, in the order of its beginning."""
    done = Visit.objects.filter(state=VisitState.DONE).select_related("course__person")
    return list(done.order_by("started_at", "pk"))


def _next_open(day: date, rules: BookingRules) -> date:
    while not rules.open_on(day.weekday()):
        day += timedelta(days=1)
    return day


def _close(visit: Visit) -> None:
    """Done as planned."""
    visit.started_at = visit.planned_start + timedelta(minutes=12)
    visit.ended_at = visit.planned_start + timedelta(minutes=58)
    visit.state = VisitState.DONE
    visit.save()
