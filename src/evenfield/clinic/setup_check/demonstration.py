"""Invented set-ups: whole ones before the visits that took place, and one of today half way."""

from datetime import timedelta

from evenfield.clinic.audit.invented import invented_at
from evenfield.clinic.courses.demonstration import done_visits
from evenfield.clinic.people.models import Person
from evenfield.clinic.setup_check.runs import begin, keep_tick, tick
from evenfield.conduct.setup import default_checklist


def make_setups() -> None:
    """Every line ticked before each past visit; today one line ticked and one skipped."""
    for visit in done_visits():
        assert visit.started_at
        moment = visit.started_at - timedelta(minutes=12)
        with invented_at(moment):
            run = begin(visit.person)
        for number, line in enumerate(default_checklist().line, start=1):
            with invented_at(moment + timedelta(seconds=35 * number)):
                keep_tick(run, line, done=True)
    person = Person.objects.get(family_name="Pallandér")
    run = begin(person)
    tick(person, run.number, "metal_off", done=True)
    tick(person, run.number, "couch_covered", done=False, reason="Invented: this couch holds no metal.")
