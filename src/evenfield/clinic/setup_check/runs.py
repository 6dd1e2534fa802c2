"""The checklist gone through once: begun for one visit, ticked by line; the last tick of a line counts."""

from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

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
    """One set-up: how it began, and its ticks in the order they were made."""

    begun: SetupEntry
    ticks: tuple[SetupEntry, ...]

    @property
    def day(self) -> date:
        """The day at the clinic on which it began."""
        return timezone.localtime(self.begun.at).date()

    def is_present(self) -> bool:
        """Whether it is of today and of the present checklist: only then it can be ticked."""
        return (
            self.day == timezone.localdate() and self.begun.content["version"] == default_checklist().version
        )

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
    kept = _kept(person).select_related("kept")
    begun = list(kept.filter(kind=Kind.BEGIN).order_by("-number")[:most])
    ticks: dict[int, list[SetupEntry]] = {}
    if begun:  # a line is ticked after its set-up was begun
        for entry in kept.filter(kind=Kind.TICK, number__gt=begun[-1].number).order_by("number"):
            ticks.setdefault(entry.content["run"], []).append(entry)
    return [Run(entry, tuple(ticks.get(entry.number, ()))) for entry in begun]


def _kept(person: Person) -> QuerySet[SetupEntry]:
    """All that was entered about a person and not erased."""
    subjects = [one.pk for one in person.one_person()]
    found: QuerySet[SetupEntry] = SetupEntry.objects.filter(subject_id__in=subjects, kept__isnull=False)
    return found


def days_of_runs(person: Person) -> set[date]:
    """The days at the clinic on which a set-up of this person began."""
    begun = _kept(person).filter(kind=Kind.BEGIN)
    return {timezone.localtime(at).date() for at in begun.values_list("at", flat=True)}


def present_run(person: Person) -> Run | None:
    """The newest set-up if it can still be ticked."""
    newest = next(iter(runs(person, 1)), None)
    return newest if newest and newest.is_present() else None


def begin(person: Person) -> SetupEntry:
    """Begin a set-up with the present checklist."""
    checklist = default_checklist()
    content = {"version": checklist.version, "title": checklist.title}
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
