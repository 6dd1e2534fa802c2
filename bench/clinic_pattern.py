"""One visit that the application itself goes through: the pattern of all others in `bench.clinic_made`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import cycle
from typing import Any

from django.utils import timezone

from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.chain import canonical
from evenfield.clinic.courses.models import Course, Visit
from evenfield.clinic.measuring.models import MeasureEntry
from evenfield.clinic.people.models import Person
from evenfield.clinic.screening.consent import present_text
from evenfield.clinic.screening.recording import keep_answers, keep_consent
from evenfield.clinic.setup_check import runs as setups
from evenfield.clinic.visits.closing import close
from evenfield.clinic.visits.models import VisitEntry
from evenfield.clinic.visits.recording import take_batch
from evenfield.clinic.visits.running import begin
from evenfield.conduct.screening import default_screening
from evenfield.conduct.setup import default_checklist

SPACING_DAYS = 14


@dataclass(frozen=True)
class VisitPattern:
    """What the application kept of one visit; texts with % places for what differs."""

    answers: str
    consent: str
    setup_begin: str
    ticks: list[str]
    measured: str
    entries: list[tuple[str, int, str]]


def gone_through(entries_wanted: int) -> VisitPattern:
    """One visit by the application's own steps, with as many entries as the longest is to have."""
    questions, someone = (
        default_screening(),
        Person(given_name="Pattern", family_name="Visit", born=date(1980, 1, 1)),
    )
    with acting(Actor("operator", None, "operator")):
        someone.save()
        answers = keep_answers(someone, questions, {one.id: one.good.value for one in questions.question})
        consent = keep_consent(someone, present_text(), name="Invented", drawing="M10 10 L200 80")
        run = setups.begin(someone)
        lines = default_checklist().line
        kept = [setups.tick(someone, run.number, line.id, done=True) for line in lines]
        course = Course(
            person=someone, region="thigh", side="left", visits_planned=6, spacing_days=SPACING_DAYS
        )
        course.save()
        visit = Visit(course=course, number=1, planned_start=timezone.now(), minutes=75)
        visit.save()
        started = begin(visit)
        started.started_at = timezone.now() - timedelta(minutes=45)
        started.save()
        events = list(_entered(entries_wanted - 3))  # beside them the beginning, and two of the closing
        for place in range(0, len(events), 50):
            sent_ms = timezone.now().timestamp() * 1000
            batch = [{**one, "wrote_ms": sent_ms - one["ago_s"] * 1000, "offset_ms": 0.0}
                     for one in events[place : place + 50]]  # fmt: skip
            answered = take_batch(started.pk, {"sent_ms": sent_ms, "entries": batch})
            refused = [one.refused for one in answered if one.refused]
            if refused:
                raise RuntimeError(f"the pattern of a visit was refused: {refused}")
        close(started, redness=1, broken=False, skin_words="even", client_words="warm", next_words="")
    measured: Any = MeasureEntry.objects.filter(kind="set", kept__content__contains='"side":"left"').first()
    entries = []
    for row in VisitEntry.objects.filter(visit=visit).select_related("kept").order_by("number"):
        said = row.content.get("event", row.content)
        text = canonical(row.content).replace("%", "%%").replace(f'"id":"{row.entry_id}"', '"id":"%s"')
        entries.append((row.kind, int(said.get("at_s") or 0), text))
    tick = [
        canonical(one.content).replace("%", "%%").replace(f'"run":{run.number}', '"run":%d')
        for one in kept
        if one
    ]
    content = canonical(measured.content).replace("%", "%%").replace(measured.content["token"], "%s")
    text = canonical(answers.content)
    return VisitPattern(text, canonical(consent.content), canonical(run.content), tick, content, entries)


def _entered(count: int) -> Iterator[dict[str, Any]]:
    """So many entries of 44 minutes: power, tuning, comfort, skin readings, sensations, a pause, the stop."""
    routine = cycle([
        {"kind": "tuning_shown", "percent": 84.0}, {"kind": "comfort", "score": 7},
        {"kind": "sensation", "feeling": "even_warmth"},
        {"kind": "skin_reading", "zone": "front, middle", "celsius": 36.4},
        {"kind": "noted", "text": "invented note"}, {"kind": "power_set", "watts": 60.0},
    ])  # fmt: skip
    first: list[dict[str, Any]] = [{"kind": "started"}, {"kind": "power_set", "watts": 50.0}]
    last: list[dict[str, Any]] = [{"kind": "paused"}, {"kind": "stopped"}]
    middle = [next(routine) for _ in range(max(0, count - len(first) - len(last)))]
    every = [*first, *middle, *last]
    for place, event in enumerate(every):
        ago_s = 2640 - 2600 * place // len(every)
        yield {"id": f"pattern-{place:06d}", "ago_s": ago_s, "event": event}
