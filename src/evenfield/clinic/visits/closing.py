"""Closing a visit, and unwanted events with it."""

from dataclasses import asdict
from typing import Any

from django.db import transaction
from django.utils import timezone

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.courses.visits import VisitError, end_visit
from evenfield.clinic.visits.estimating import ESTIMATES
from evenfield.clinic.visits.models import Kind, NextSteps, VisitEntry
from evenfield.clinic.visits.running import running
from evenfield.clinic.visits.telling import question
from evenfield.conduct.adverse import grade_event
from evenfield.conduct.events import SkinLooked, event_to_mapping

ESTIMATE_WAIT_S = 8.0


def close(
    visit: Visit, *, redness: int, broken: bool, skin_words: str, client_words: str, next_words: str
) -> Visit:
    """End a visit with what was seen and said, and with the last estimate, so that its report needs nothing
    but the record. Raises VisitError unless the visit runs and the stop is recorded."""
    run = running(visit)
    if run.advice(None).state.stopped is None:
        raise VisitError("The field is not recorded as stopped: tap Stop on the live page first.")
    estimate = ESTIMATES.exactly(question(run), ESTIMATE_WAIT_S)
    with transaction.atomic():
        done = end_visit(visit, timezone.now())
        assert done.started_at
        assert done.ended_at
        at_s = round((done.ended_at - done.started_at).total_seconds(), 3)
        looked = SkinLooked(
            id=f"closing-look-{done.pk}",
            at_s=at_s,
            received_s=at_s,
            redness=redness,
            broken=broken,
            words=skin_words,
        )
        VisitEntry.of(done, looked.kind, looked.id, {"event": event_to_mapping(looked)})
        content = {
            "at_s": at_s,
            "client_words": client_words,
            "next_words": next_words,
            "redness": redness,
            "broken": broken,
            "skin_words": skin_words,
            "estimate": estimate,
        }
        VisitEntry.of(done, Kind.CLOSING, f"closing-{done.pk}", content)
    return done


def keep_unwanted(
    visit: Visit, number: str, *, term: str, grade: int, words: str, done: str, told: str, began: str
) -> VisitEntry | None:
    """Keep a graded event with scale and version, the clinic's steps as they stand now, what was done and to
    whom it was told. `number` is the form's own id: sent twice it is kept once.

    Raises AdverseEventError for a grade the term lacks, or missing words.
    """
    graded = grade_event(term, grade, words)
    content: dict[str, Any] = asdict(graded) | {
        "steps": NextSteps.present().for_grade(grade),
        "done": done,
        "told": told,
        "began": began,
    }
    return _kept_once(visit, Kind.ADVERSE, number, content)


def keep_report(visit: Visit, number: str, *, of: str, told: str) -> VisitEntry | None:
    """Keep to whom an unwanted event was reported, after it was entered. `of` is the event's own id; `number`
    is the form's: sent twice it is kept once. Raises VisitError where the visit has no such event."""
    found = next((row for row in running(visit).of_kind(Kind.ADVERSE) if row.id == of), None)
    if found is None:
        raise VisitError("This visit has no such unwanted event.")
    content: dict[str, Any] = {"of": of, "name": found.content["name"], "told": told}
    return _kept_once(visit, Kind.REPORTED, number, content)


def _kept_once(visit: Visit, kind: Kind, number: str, content: dict[str, Any]) -> VisitEntry | None:
    if visit.started_at:
        content["at_s"] = round((timezone.now() - visit.started_at).total_seconds(), 1)
    with transaction.atomic():
        if VisitEntry.objects.filter(entry_id=number).exists():
            return None
        return VisitEntry.of(visit, kind, number, content)
