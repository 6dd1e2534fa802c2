"""An invented clinic of any size: a demonstration clinic, then people, courses, visits and entries in bulk.

What is entered during a visit, its screening, its set-up and its measurements are copies of one visit that
the application itself went through; only ids, times and whose they are differ. Nobody in it exists.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
from django.db import connection, transaction
from django.utils import timezone

from bench.clinic_pattern import SPACING_DAYS, VisitPattern, gone_through
from bench.clinic_rows import SECONDS, BulkTable, KeptChain, Trail, set_sequences, without_indexes
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.chain import canonical
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.demonstration import make_demonstration
from evenfield.clinic.devices.models import Device, TreatmentRoom
from evenfield.clinic.measuring.models import MeasureEntry
from evenfield.clinic.people.codes import LETTERS
from evenfield.clinic.people.models import NameTrigram, Person
from evenfield.clinic.people.names import plain, trigrams
from evenfield.clinic.planning.models import Job, Plan
from evenfield.clinic.screening.models import ScreeningEntry
from evenfield.clinic.setup_check.models import SetupEntry
from evenfield.clinic.visits.models import VisitEntry

COURSE_VISITS = 6
AHEAD_DAYS = 28
_TOOK_PLACE = 0.95  # share of the visits, about
_ENDING = 4  # entries: paused, stopped, skin looked at, closed
_VISITS_AT_ONCE = 4000  # one transaction
_GIVEN = [
    a + b
    for a in ("Ma", "Io", "Te", "Ru", "Sel", "Ka", "Vin", "O", "Bre", "Li", "Cor", "Fa")
    for b in ("lina", "ra", "odor", "ven", "mira", "stan", "elle", "dric", "nia", "bert", "vika")
]
_FAMILY = [
    a + b + c
    for a in ("Hol", "Pal", "Ok", "Qui", "Men", "Tes", "Bran", "Vor", "Lun", "Ster", "Wa", "Ged")
    for b in ("va", "lan", "ker", "de", "sto", "ri", "mo", "ne", "ha", "tu")
    for c in ("t", "der", "veen", "st", "low", "ly", "man", "gaard", "ski", "rup", "nelli", "son")
]


@dataclass(frozen=True)
class Size:
    """How much is made.

    `events` are the rows of the append-only tables: what was entered in visits, screening, set-up and
    measuring, and for each of these the line of the trail that goes with it. One person has `history` visits,
    with `long` entries each; `running` visits run at this moment.
    """

    people: int
    visits: int
    events: int
    history: int = 120
    long: int = 56
    running: int = 8
    rooms: int = 20
    years: float = 10.0


@dataclass(frozen=True)
class Made:
    """What pages are asked about, by primary key: someone with a long history, a done visit of hers with
    `entries` entries, visits still planned and running, and the rows about them."""

    person: Person
    done: int
    planned: int
    running: int
    course: int
    plan: int
    job: int
    screening: int
    measuring: int
    entries: int

    @property
    def usual(self) -> int:
        """Someone who was made after her and comes as often as others."""
        return int(self.person.pk) + 10


def make_clinic(size: Size, say: Callable[[str], None] = print) -> Made:
    """Fill a migrated, empty record. Indexes are dropped meanwhile where it is large."""
    begun = time.monotonic()
    make_demonstration()
    copied = gone_through(size.long)
    say(f"  {time.monotonic() - begun:6.0f} s  a demonstration clinic, and one visit to copy")
    filler = _Filler(size, copied)
    tables = [VisitEntry, ScreeningEntry, SetupEntry, MeasureEntry]
    models: list[Any] = [one for model in tables for one in (model, model.content_model)]
    models += [Person, NameTrigram, Course, Visit, Plan, Job]
    names = [model._meta.db_table for model in models] + ["audit_auditevent", "audit_auditdetail"]
    if size.events < 200_000:
        made = filler.fill(say, begun)
    else:
        with without_indexes(names):
            with connection.constraint_checks_disabled():  # parents are written before what points to them
                made = filler.fill(say, begun)
            say(f"  {time.monotonic() - begun:6.0f} s  all rows written; indexes are made")
    set_sequences()
    told = f"{filler.entries} entries, {filler.trail.number} lines of the trail"
    say(f"  {time.monotonic() - begun:6.0f} s  done: {told}")
    return made


class _Filler:
    """Writes everything; holds the ends of the chains and the numbers given."""

    def __init__(self, size: Size, copied: VisitPattern) -> None:
        self.size, self.copied = size, copied
        self.tables = {model: BulkTable(model) for model in (Person, NameTrigram, Course, Visit, Plan, Job)}
        self.first = {model: _after(model) for model in self.tables}
        self.now = timezone.now().replace(microsecond=0)
        self.who = self._staff()
        self.rooms = self._rooms()
        self.trail = Trail()
        self.visit_chain, self.screening, self.setup, self.measuring = (
            KeptChain(model, self.trail) for model in (VisitEntry, ScreeningEntry, SetupEntry, MeasureEntry)
        )
        self.chains = (self.visit_chain, self.screening, self.setup, self.measuring)
        self.device: Any = Device.objects.first()
        self.measured: dict[int, int] = {}
        self.asked: dict[int, int] = {}
        self.entries = 0
        beside = (
            len(copied.ticks) + 2 + 2 / COURSE_VISITS
        )  # set-up, answers; of each course consent and girths
        self.short = max(2 + _ENDING, round(size.events / 2 / (_TOOK_PLACE * size.visits) - beside))
        self.case = str(Visit.objects.exclude(plan={}).first().plan["case"])  # type: ignore[union-attr]

    def _staff(self) -> list[tuple[int, str]]:
        """As many operators as rooms; nobody signs in as them."""
        made = []
        with acting(Actor("bench")):
            for place in range(self.size.rooms):
                account = Account(username=f"operator{place + 1}", name=f"Invented Operator {place + 1}")
                account.roles_text = "operator"
                account.set_unusable_password()
                account.save()
                made.append((int(account.pk), account.username))
        return made

    def _rooms(self) -> list[int]:
        with acting(Actor("bench")):
            made = [TreatmentRoom(name=f"Invented room {place + 1}") for place in range(self.size.rooms)]
            for room in made:
                room.save()
        return [int(room.pk) for room in made]

    def fill(self, say: Callable[[str], None], begun: float) -> Made:
        """People, then visit by visit in the order of time with all that belongs to each."""
        plan = _visits_in_time(self.size)
        with transaction.atomic():
            self._people()
            self._courses(plan)
            self._write(everything=True)
        people, courses = self.size.people, len(plan.course_of_person)
        say(f"  {time.monotonic() - begun:6.0f} s  {people} people, {courses} courses")
        found: dict[str, int] = {}
        count = len(plan.person)
        for first in range(0, count, _VISITS_AT_ONCE):
            last = min(first + _VISITS_AT_ONCE, count)
            with transaction.atomic():
                for place in range(first, last):
                    self._visit(plan, place, found)
                self._write(everything=True)
            if last == count or last % (10 * _VISITS_AT_ONCE) == 0:
                say(f"  {time.monotonic() - begun:6.0f} s  {last} visits, {self.entries} entries")
        for chain in (self.trail, *self.chains):
            chain.check_first()
            chain.note_end()
        return self._made(found)

    def _made(self, found: dict[str, int]) -> Made:
        person = Person.objects.get(pk=self.first[Person])
        return Made(
            person=person,
            done=found["done"],
            planned=found["planned"],
            running=found["running"],
            course=self.first[Course],
            plan=found["plan"],
            job=self.first[Job] + found["plan"] - self.first[Plan],
            screening=self.asked[person.pk],
            measuring=self.measured[person.pk],
            entries=len(self.copied.entries),
        )

    def _people(self) -> None:
        draw = np.random.default_rng(7)
        people, letters = self.tables[Person], self.tables[NameTrigram]
        first, trigram = self.first[Person], self.first[NameTrigram]
        here = "2016-01-04"
        zone, cache = self.trail.zone, {}
        for place in range(self.size.people):
            number = first + place
            given = _GIVEN[int(draw.integers(len(_GIVEN)))]
            family = _FAMILY[int(draw.integers(len(_FAMILY)))]
            born = date(1940, 1, 1) + timedelta(days=int(draw.integers(24_000)))
            code = _code(place)
            active = place % 9 != 5
            people.rows.append(
                (number, code, given, family, "", born.isoformat(), "", "", "", active,
                 "" if active else "moved", "", None, f"{here} 08:00:00{zone}", None)
            )  # fmt: skip
            for part in (given, family):
                if part not in cache:
                    cache[part] = trigrams(plain(part))
            for three in sorted(cache[given] | cache[family]):
                letters.rows.append((trigram, three, number))
                trigram += 1
            after = canonical({"born": born, "code": code, "family_name": family, "given_name": given})
            self.trail.line("create", "people.person", str(number), number, "", here, "08:00:00",
                            self.who[0], after, "born code family_name given_name")  # fmt: skip
            self._write()

    def _courses(self, plan: _Calendar) -> None:
        table, zone = self.tables[Course], self.trail.zone
        for place, person in enumerate(plan.course_of_person):
            number, about = self.first[Course] + place, self.first[Person] + int(person)
            state = "open" if plan.course_last_day[place] >= 0 else "finished"
            table.rows.append(
                (number, about, "thigh", "left", COURSE_VISITS, SPACING_DAYS, "Invented aim.", "", state, "",
                 f"2016-01-04 08:00:00{zone}")
            )  # fmt: skip
            after = canonical({"person_id": about, "region": "thigh"})
            self.trail.line("create", "courses.course", str(number), about, "", "2016-01-04", "08:00:00",
                            self.who[0], after, "person_id region")  # fmt: skip
            self._write()

    def _visit(self, plan: _Calendar, place: int, found: dict[str, int]) -> None:
        """One visit; if it took place, what was asked, ticked, measured and entered."""
        number = self.first[Visit] + place
        person = self.first[Person] + int(plan.person[place])
        course = self.first[Course] + int(plan.course[place])
        day = self.now.date() + timedelta(days=int(plan.day[place]))
        room = place % len(self.rooms)
        who = self.who[room]
        second = 32_400 + 4_500 * (place // len(self.rooms) % 7)  # 9:00, 10:15, … 16:30
        state, started, ended = "planned", None, None
        zone, text = self.trail.zone, day.isoformat()
        past = int(plan.day[place]) < 0
        if past:
            state = "missed" if place % 50 == 17 else "cancelled" if place % 50 == 33 else "done"
        elif found.get("runs", 0) < self.size.running and int(plan.day[place]) == 0:
            state, found["runs"] = "running", found.get("runs", 0) + 1
            found.setdefault("running", number)
            text, second = _day_and_second(self.now - timedelta(minutes=40))
        planned = f"{text} {SECONDS[second]}{zone}"
        if state in ("done", "running"):
            started = f"{text} {SECONDS[(second + 600) % 86400]}{zone}"
        if state == "done":
            ended = f"{text} {SECONDS[second + 3300]}{zone}"
        kept = (
            {} if state == "running" else {"case": self.case, "forecast": {}, "at": f"{text}T08:00:00+00:00"}
        )
        self.tables[Visit].rows.append(
            (number, course, int(plan.number[place]), planned, 75, self.rooms[room], self.device.pk, who[0],
             state, "", "", json.dumps(kept), started, ended, planned)
        )  # fmt: skip
        after = f'{{"course_id":{course},"minutes":75}}'
        self.trail.line("create", "courses.visit", str(number), person, "", text, SECONDS[second], who, after,
                        "course_id minutes")  # fmt: skip
        if state in ("done", "running"):
            self._took_place(number, person, text, second, who, state)
            if plan.person[place] == 0 and state == "done":
                found["done"] = number
        elif plan.person[place] == 0 and state == "planned":
            found["planned"] = number
        if plan.number[place] == 1:
            made = self._plan(person, number, text, who[0])
            if plan.person[place] == 0:
                found["plan"] = made
        self._write()

    def _took_place(
        self, number: int, person: int, day: str, second: int, who: tuple[int, str], state: str
    ) -> None:
        copied = self.copied
        before = self.visit_chain.number + self.screening.number + self.setup.number + self.measuring.number
        self.asked[person] = self.screening.keep("answers", person, copied.answers, day, SECONDS[second], who)
        if person not in self.measured:
            self.screening.keep("consent", person, copied.consent, day, SECONDS[second + 60], who)
            text = copied.measured % f"bench {number}"
            self.measured[person] = self.measuring.keep("set", person, text, day, SECONDS[second + 120], who)
        run = self.setup.keep("begin", person, copied.setup_begin, day, SECONDS[second + 180], who)
        for place, text in enumerate(copied.ticks):
            self.setup.keep("tick", person, text % run, day, SECONDS[second + 200 + 20 * place], who)
        keep = self.visit_chain.keep
        first = len(copied.entries) if person == self.first[Person] else self.short
        last = [] if state == "running" else copied.entries[-_ENDING:]
        for place, (kind, at_s, text) in enumerate([*copied.entries[: first - _ENDING], *last]):
            name = f"{number:016x}{place:016x}"
            said = text % name if '"%s"' in text else text % ()
            keep(kind, person, said, day, SECONDS[(second + 600 + at_s) % 86400], who, (number, name))
        after = self.visit_chain.number + self.screening.number + self.setup.number + self.measuring.number
        self.entries += after - before

    def _plan(self, person: int, visit: int, day: str, who: int) -> int:
        plans, jobs = self.tables[Plan], self.tables[Job]
        number = self.first[Plan] + plans.written + len(plans.rows)
        at = f"{day} 08:00:00{self.trail.zone}"
        plans.rows.append(
            (number, person, visit, self.device.pk, "thigh", "left", self.case, "{}", "{}", at, who, at, who)
        )
        job = self.first[Job] + jobs.written + len(jobs.rows)
        jobs.rows.append((job, number, "forecast", "{}", "done", "done", 1.0, "", "{}", at, at, at, at))
        return number

    def _write(self, *, everything: bool = False) -> None:
        """All tables at once, parents first, when enough waits in one of them."""
        chained = [chain.bulk for chain in (self.trail, *self.chains)]
        if not everything and not any(bulk.full() for bulk in (*chained, self.tables[NameTrigram])):
            return
        for bulk in self.tables.values():
            bulk.write()
        for bulk in chained:
            bulk.write()
        for beside in (self.trail.details, *(chain.contents for chain in self.chains)):
            beside.write()


@dataclass(frozen=True)
class _Calendar:
    """Visits in the order of time, as numbers from 0: whose, of which course, the how-manieth of it, on which
    day from today on; and of each course its person and the day of its last visit."""

    person: Any
    course: Any
    number: Any
    day: Any
    course_of_person: Any
    course_last_day: Any


def _visits_in_time(size: Size) -> _Calendar:
    """Person 0 has `history` visits up to four weeks from now; the others share the rest evenly, each begun
    on some day of the years before, one visit every 14 days."""
    others = size.visits - size.history
    each = np.full(size.people - 1, others // max(1, size.people - 1))
    each[: others - int(each.sum())] += 1
    counts = np.concatenate([[size.history], each])
    person = np.repeat(np.arange(size.people), counts)
    rank = np.arange(len(person)) - np.repeat(np.cumsum(counts) - counts, counts)
    span = int(size.years * 365)
    draw = np.random.default_rng(11)
    begins = draw.integers(-span, AHEAD_DAYS, size.people)
    begins[0] = AHEAD_DAYS - SPACING_DAYS * (size.history - 1)
    begins[1 : size.running] = 0
    day = begins[person] + SPACING_DAYS * rank
    course_in_person = rank // COURSE_VISITS
    courses = -(-counts // COURSE_VISITS)
    first_course = np.cumsum(courses) - courses
    course = first_course[person] + course_in_person
    order = np.argsort(day, kind="stable")
    last = np.full(int(courses.sum()), -span)
    np.maximum.at(last, course, day)
    return _Calendar(
        person=person[order],
        course=course[order],
        number=(rank % COURSE_VISITS + 1)[order],
        day=day[order],
        course_of_person=np.repeat(np.arange(size.people), courses),
        course_last_day=last,
    )


def _day_and_second(moment: datetime) -> tuple[str, int]:
    """As written in rows, UTC; early enough that what follows stays on that day."""
    at = moment.astimezone(UTC)
    return at.date().isoformat(), min(at.hour * 3600 + at.minute * 60 + at.second, 82_000)


def _after(model: Any) -> int:
    last = model.objects.order_by("-pk").values_list("pk", flat=True).first()
    return int(last or 0) + 1


def _code(place: int) -> str:
    """Codes that differ in more than one letter mostly: a stride through all of them."""
    number, letters = (place * 7_919 * 104_729 + 12_345) % len(LETTERS) ** 6, ""
    for _ in range(6):
        number, letter = divmod(number, len(LETTERS))
        letters = LETTERS[letter] + letters
    return letters
