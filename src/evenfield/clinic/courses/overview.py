"""A person's courses with their visits in order, and what is still missing before each."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time

from django.db.models import Case, Count, F, Max, Min, Q, QuerySet, When
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from evenfield.clinic.courses.booking import at_clinic, whole_person
from evenfield.clinic.courses.calendar_days import counted_between
from evenfield.clinic.courses.models import COUNTED, BookingRules, Course, CourseState, Visit, VisitState
from evenfield.clinic.parts import HomeNote, VisitNeed, clinic_parts
from evenfield.clinic.people.models import Person

COURSES_AT_ONCE = 4  # on one page; each has its visits and what each of these lacks


@dataclass(frozen=True)
class VisitLine:
    """One visit: its place among those that count (None if it fell out), and what it needs."""

    visit: Visit
    place: int | None
    needs: tuple[VisitNeed, ...]

    @property
    def missing(self) -> tuple[VisitNeed, ...]:
        """What is not there yet."""
        return tuple(need for need in self.needs if not need.met)


@dataclass(frozen=True)
class CourseOverview:
    """One course with its visits in order of time."""

    course: Course
    lines: tuple[VisitLine, ...]

    @property
    def done(self) -> int:
        """Visits done."""
        return sum(line.visit.state == VisitState.DONE for line in self.lines)

    @property
    def planned(self) -> int:
        """Visits still planned."""
        return sum(line.visit.state == VisitState.PLANNED for line in self.lines)

    @property
    def booked(self) -> int:
        """Visits that count: done, running or planned."""
        return sum(line.place is not None for line in self.lines)

    @property
    def lacking(self) -> int:
        """Visits planned for the course and not booked."""
        return max(0, self.course.visits_planned - self.booked)


def courses_of(people: Sequence[Person], first: int = 0, most: int | None = None) -> list[CourseOverview]:
    """Courses of one person, given as the kept record and those merged into it: open ones first, then the
    newest; from the place `first` on, so many."""
    is_open = Case(When(state=CourseState.OPEN, then=0), default=1)
    every = Course.objects.filter(person__in=people).select_related("person")
    ordered = every.order_by(is_open, "-created", "-pk")
    courses = list(ordered[first : None if most is None else first + most])
    visits = list(
        Visit.objects.filter(course__in=courses)
        .select_related("course__person")
        .prefetch_related("room", "device", "staff")
        .order_by("planned_start", "number")
    )
    needs = needs_of(people, visits)
    return [CourseOverview(course, tuple(_lines(course, visits, needs))) for course in courses]


def planned_of(people: Sequence[Person]) -> int:
    """How many visits of one person are planned."""
    return Visit.objects.filter(course__person__in=people, state=VisitState.PLANNED).count()


def line_of(visit: Visit) -> VisitLine:
    """One visit as its page shows it."""
    people = whole_person(visit.course)
    same_course = Visit.objects.filter(course=visit.course).select_related("course__person")
    visits = list(same_course.order_by("planned_start", "number"))
    lines = _lines(visit.course, visits, needs_of(people, [visit]))
    return next(line for line in lines if line.visit.pk == visit.pk)


def needs_of(people: Sequence[Person], visits: Sequence[Visit]) -> Mapping[int, tuple[VisitNeed, ...]]:
    """What every part asks for before these visits, by the visit's primary key."""
    counted = [visit for visit in visits if visit.state in COUNTED]
    gathered: dict[int, list[VisitNeed]] = {visit.pk: [] for visit in visits}
    if counted:
        for part in clinic_parts():
            for number, needs in part.visit_needs(list(people), counted).items():
                gathered[number].extend(needs)
    return {number: tuple(needs) for number, needs in gathered.items()}


def _lines(
    course: Course, visits: Iterable[Visit], needs: Mapping[int, tuple[VisitNeed, ...]]
) -> Iterable[VisitLine]:
    place = 0
    for visit in visits:
        if visit.course_id != course.pk:
            continue
        counts = visit.state in COUNTED
        place += counts
        yield VisitLine(visit, place if counts else None, needs.get(visit.pk, ()))


def plan_need(visit: Visit) -> VisitNeed:
    """Whether the planning page has saved a plan."""
    met = bool(visit.plan.get("case"))
    return VisitNeed(
        "plan", met, "saved" if met else "not made", reverse("plan-visit", kwargs={"number": visit.pk})
    )


@dataclass(frozen=True)
class OpenCourse:
    """An open course in the list of all: how far it is, and when the next visit is."""

    course: Course
    done: int
    lacking: int
    next_start: datetime | None
    last_start: datetime | None


def open_courses(first: int = 0, most: int | None = None) -> list[OpenCourse]:
    """Open courses of active clients from the place `first` on; those without a next visit come before the
    others, the longest open first, then by the next visit's time."""
    done = Q(visits__state=VisitState.DONE)
    coming = Q(visits__state__in=_COMING, visits__planned_start__gte=_today())
    rows = _open().annotate(
        booked=Count("visits", filter=Q(visits__state__in=COUNTED)),
        visits_done=Count("visits", filter=done),
        next_start=Min("visits__planned_start", filter=coming),
        last_start=Max("visits__planned_start", filter=done),
    )
    ordered = rows.select_related("person").order_by(F("next_start").asc(nulls_first=True), "created", "pk")
    return [
        OpenCourse(
            one, one.visits_done, max(0, one.visits_planned - one.booked), one.next_start, one.last_start
        )
        for one in ordered[first : None if most is None else first + most]
    ]


def waiting_note() -> HomeNote | None:
    """How many open courses have no next visit; None if every one has."""
    coming = Visit.objects.filter(state__in=_COMING, planned_start__gte=_today())
    # Visits to come are far fewer than courses: looked up once, not for each course.
    number = _open().exclude(pk__in=coming.values("course_id")).count()
    if not number:
        return None
    words = f"{number} open course{' has' if number == 1 else 's have'} no next visit"
    return HomeNote("Courses", words, reverse("open-courses"))


_COMING = (VisitState.PLANNED, VisitState.RUNNING)


def _open() -> QuerySet[Course]:
    return Course.objects.filter(state="open", person__active=True, person__erased__isnull=True)


def _today() -> datetime:
    """When the clinic's day began: a visit of today whose hour is past still is the next one."""
    return at_clinic(timezone.localdate(), time(0))


def hours_note() -> HomeNote | None:
    """That the opening hours are still those shipped; None once the clinic saved its own."""
    if BookingRules.objects.exists():
        return None
    rules = BookingRules()
    words = f"still assumed, {rules.opens:%H:%M} to {rules.closes:%H:%M} from Monday to Friday; save your own"
    return HomeNote("Opening hours", words, reverse("booking-rules"), setting_up=True)


def today_note() -> HomeNote:
    """How many visits there are today, and when the next one is."""
    today = timezone.localdate()
    coming = Q(state=VisitState.PLANNED, planned_start__gte=timezone.now())
    found = counted_between(today, today).aggregate(
        count=Count("pk"), next=Min("planned_start", filter=coming)
    )
    count, following = found["count"], found["next"]
    words = f"{count} visit{'' if count == 1 else 's'}" if count else "no visits"
    if following:
        words += f", the next at {date_format(timezone.localtime(following), 'TIME_FORMAT')}"
    address = reverse("calendar", query={"show": "day"})
    return HomeNote("Today", words, address)
