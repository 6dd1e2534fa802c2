"""The checklist gone through once: begun for one visit, ticked by line; the last tick of a line counts.

A set-up says for which region it is, where visits are planned. It holds for its day and for one visit:
beginning that visit uses it up.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.courses.visits import last_begun
from evenfield.clinic.people.models import Person
from evenfield.clinic.setup_check.models import Kind, SetupEntry
from evenfield.conduct.setup import Checklist, Line, Ready, SetupError, Tick, check, default_checklist


@dataclass(frozen=True)
class Step:
    """One line and its last tick, None while it is open."""

    line: Line
    tick: SetupEntry | None

    @property
    def done(self) -> bool:
        """Whether it was ticked as done."""
        return self.tick is not None and bool(self.tick.content["done"])


@dataclass(frozen=True)
class Run:
    """One set-up: how it began, its ticks in the order they were made, whether a visit began since."""

    begun: SetupEntry
    ticks: tuple[SetupEntry, ...]
    used_up: bool = False

    @property
    def day(self) -> date:
        """The day at the clinic on which it began."""
        return timezone.localtime(self.begun.at).date()

    @property
    def region(self) -> str:
        """Side and region for which it was begun; "" where it does not say, and then it fits any."""
        return str(self.begun.content.get("region", ""))

    def is_for(self, visit: Visit) -> bool:
        """Whether it was begun for the region of this visit."""
        return self.region in ("", visit.course.region_words)

    def is_present(self) -> bool:
        """Whether it is of today, of the present checklist and not used up: only then it can be ticked."""
        fresh = self.day == timezone.localdate() and not self.used_up
        return fresh and bool(self.begun.content["version"] == default_checklist().version)

    def ready(self, checklist: Checklist | None = None) -> Ready:
        """What is open and what was skipped."""
        said = (tick.content for tick in self.ticks)
        return check((Tick(one["line"], one["done"], one["reason"]) for one in said), checklist)

    def steps(self) -> list[Step]:
        """Every line in working order with its last tick."""
        last = {tick.content["line"]: tick for tick in self.ticks}
        return [Step(line, last.get(line.id)) for line in default_checklist().line]


def runs(person: Person, most: int | None = None) -> list[Run]:
    """The set-ups of this person, newest first: all of them, or so many."""
    return runs_of(person.one_person(), most)


def runs_of(people: Sequence[Person], most: int | None = None) -> list[Run]:
    """The same of one person given as the kept record and those merged into it."""
    return with_ticks(people, begun_runs(people, most))


def begun_runs(people: Sequence[Person], most: int | None = None) -> list[Run]:
    """The set-ups of one person as they began, without their ticks, newest first: all, or so many."""
    begun, last = _kept(people).filter(kind=Kind.BEGIN).order_by("-number")[:most], last_begun(people)
    return [Run(entry, (), used_up=bool(last and entry.at <= last)) for entry in begun]


def with_ticks(people: Sequence[Person], begun: Sequence[Run]) -> list[Run]:
    """The same set-ups, newest first, with what was ticked in them."""
    if not begun:
        return []
    ticks: dict[int, list[SetupEntry]] = {}
    since = begun[-1].begun.number  # a line is ticked after its set-up was begun
    for entry in _kept(people).filter(kind=Kind.TICK, number__gt=since).order_by("number"):
        ticks.setdefault(entry.content["run"], []).append(entry)
    return [replace(run, ticks=tuple(ticks.get(run.begun.number, ()))) for run in begun]


def _kept(people: Sequence[Person]) -> QuerySet[SetupEntry]:
    """All that was entered about one person and not erased."""
    subjects = [one.pk for one in people]
    found: QuerySet[SetupEntry] = SetupEntry.objects.filter(subject_id__in=subjects, kept__isnull=False)
    return found.select_related("kept")


def present_run(person: Person) -> Run | None:
    """The newest set-up if it can still be ticked."""
    newest = next(iter(runs(person, 1)), None)
    return newest if newest and newest.is_present() else None


def planned_regions(people: Sequence[Person]) -> list[str]:
    """For which regions visits of one person are planned, the earliest first: what a set-up can be for."""
    planned = Visit.objects.filter(course__person__in=people, state=VisitState.PLANNED)
    found = planned.defer("plan").select_related("course").order_by("planned_start")
    return list(dict.fromkeys(visit.course.region_words for visit in found))


def begin(person: Person, region: str = "") -> SetupEntry:
    """Begin a set-up with the present checklist, for a region where one is said."""
    checklist = default_checklist()
    content = {"version": checklist.version, "title": checklist.title}
    content |= {"region": region} if region else {}
    return SetupEntry.keep(Kind.BEGIN, person.pk, content)


def tick(person: Person, run_number: int, line_id: str, *, done: bool, reason: str = "") -> SetupEntry | None:
    """Tick a line of the present set-up; None if the line says the same already (a button pressed twice).

    Raises SetupError for an unknown line, a line skipped without a reason, or a set-up that is over.
    """
    check([Tick(line_id, done, reason)])
    with transaction.atomic():
        run = present_run(person)
        if run is None or run.begun.number != run_number:
            raise SetupError("this set-up is over: begin a new one")
        step = next(step for step in run.steps() if step.line.id == line_id)
        reason = "" if done else reason.strip()
        if step.tick and (step.tick.content["done"], step.tick.content["reason"]) == (done, reason):
            return None
        return keep_tick(run.begun, step.line, done=done, reason=reason)


def keep_tick(begun: SetupEntry, line: Line, *, done: bool, reason: str = "") -> SetupEntry:
    """Keep a tick of a set-up's line with its text as it stood."""
    content = {"run": begun.number, "line": line.id, "text": line.text, "done": done, "reason": reason}
    return SetupEntry.keep(Kind.TICK, begun.subject_id, content)
