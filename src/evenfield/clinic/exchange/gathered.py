"""All that goes out about one person or one visit, read once and the same for every format."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.measuring.history import Measured, entries, measured
from evenfield.clinic.measuring.models import Kind as MeasureKind
from evenfield.clinic.measuring.models import MeasureEntry
from evenfield.clinic.people.models import Person
from evenfield.clinic.photographs.album import Photograph, album
from evenfield.clinic.screening.models import Kind as ScreeningKind
from evenfield.clinic.screening.models import ScreeningEntry
from evenfield.clinic.setup_check.runs import Run, runs
from evenfield.clinic.visits.running import Row, read_rows


@dataclass(frozen=True)
class Gathered:
    """What is sent.

    Attributes:
        clinic: name of the clinic.
        people: the kept record, then those merged into it.
        visit: the one visit it is about; None for all of the person.
        courses, visits: in order of time.
        numbers: every number measured, newest first, withdrawn ones among them.
        corrections: the entries that corrected a number, by their own number.
        screening: answers, decisions, consents and withdrawals, oldest first.
        setups, photographs: oldest first, withdrawn photographs left out.
        entries: what was entered during each visit, by the number of the visit.
        staff: the accounts that appear, by number.
        at: when it was gathered.
    """

    clinic: str
    people: tuple[Person, ...]
    visit: Visit | None
    courses: tuple[Course, ...]
    visits: tuple[Visit, ...]
    numbers: tuple[Measured, ...]
    corrections: dict[int, MeasureEntry]
    screening: tuple[ScreeningEntry, ...]
    setups: tuple[Run, ...]
    photographs: tuple[Photograph, ...]
    entries: dict[int, tuple[Row, ...]]
    staff: dict[int, Account]
    at: datetime

    @property
    def person(self) -> Person:
        """The kept record."""
        return self.people[0]

    def visit_on(self, at: datetime) -> Visit | None:
        """The visit sent that was on the same day at the clinic."""
        day = timezone.localtime(at).date()
        return next((visit for visit in self.visits if visit.day == day), None)


def of_person(person: Person, clinic: str) -> Gathered:
    """All of one person."""
    return _gather(person, clinic, None)


def of_visit(visit: Visit, clinic: str) -> Gathered:
    """One visit: its course, and what was asked, measured, set up and photographed on its day.

    Measurements and photographs are those of the visit's region, and weight; the consents are all of the
    person's, because one signed earlier is what the visit stood on.
    """
    return _gather(visit.person.kept, clinic, visit)


def _gather(person: Person, clinic: str, visit: Visit | None) -> Gathered:
    people = person.one_person()
    rows = entries(person)
    numbers = measured(rows)
    screening = list(reversed(ScreeningEntry.about([one.pk for one in people])))
    setups = list(reversed(runs(person)))
    photographs = [one for one in reversed(album(person)) if not one.withdrawn]
    visits = Visit.objects.filter(course__person__in=people)
    if visit is not None:
        day, course = visit.day, visit.course
        visits = visits.filter(pk=visit.pk)
        kind = course.region_kind
        numbers = [one for one in numbers if one.region in (None, kind) and _on(one.at, day)]
        standing = (ScreeningKind.CONSENT, ScreeningKind.WITHDRAWAL)
        screening = [one for one in screening if one.kind in standing or _on(one.at, day)]
        setups = [one for one in setups if one.day == day]
        photographs = [one for one in photographs if one.region is kind and _on(one.at, day)]
    chosen = list(
        visits.select_related("course__person", "room", "device", "staff").order_by("planned_start", "number")
    )
    courses = Course.objects.filter(person__in=people).order_by("created", "pk")
    if visit is not None:
        courses = courses.filter(pk=visit.course_id)
    sent = {one.correction for one in numbers if one.correction}
    corrections = {
        row.number: row for row in rows if row.kind == MeasureKind.CORRECTION and row.number in sent
    }
    actors = [one.measurer for one in numbers] + [one.actor_id for one in screening]
    actors += [tick.actor_id for run in setups for tick in (run.begun, *run.ticks)]
    actors += [one.staff_id for one in chosen] + [row.actor_id for row in corrections.values()]
    return Gathered(
        clinic=clinic,
        people=tuple(people),
        visit=visit,
        courses=tuple(courses),
        visits=tuple(chosen),
        numbers=tuple(numbers),
        corrections=corrections,
        screening=tuple(screening),
        setups=tuple(setups),
        photographs=tuple(photographs),
        entries=read_rows(one for one in chosen if one.started_at),
        staff=_staff(actors),
        at=timezone.now(),
    )


def _on(at: datetime, day: date) -> bool:
    return bool(timezone.localtime(at).date() == day)


def _staff(numbers: Iterable[int | None]) -> dict[int, Account]:
    wanted = {number for number in numbers if number is not None}
    return {account.pk: account for account in Account.objects.filter(pk__in=wanted)}
