"""An invented visit of today that can be begun, what was entered in past ones, and invented steps after
unwanted events."""

from datetime import timedelta
from importlib import resources
from typing import Any

from django.utils import timezone

from evenfield.clinic.audit.invented import invented_at
from evenfield.clinic.courses.demonstration import done_visits
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.people.models import Person
from evenfield.clinic.setup_check.runs import begin, tick
from evenfield.clinic.visits.models import Kind, NextSteps, VisitEntry
from evenfield.clinic.visits.plans import plan_of
from evenfield.clinic.visits.running import keep_beginning
from evenfield.conduct.events import event_from_mapping, event_to_mapping
from evenfield.conduct.setup import default_checklist

_PAST: tuple[tuple[float, str, dict[str, Any]], ...] = (
    (2.0, "started", {}),
    (2.2, "power_set", {"watts": 30}),
    (2.6, "tuning_shown", {"percent": 74}),
    (3.0, "noted", {"text": "Cables spread; tuning better."}),
    (3.2, "tuning_shown", {"percent": 86}),
    (3.6, "power_set", {"watts": 50}),
    (8.0, "comfort", {"score": 8}),
    (9.0, "power_set", {"watts": 70}),
    (13.0, "comfort", {"score": 8}),
    (14.0, "skin_reading", {"celsius": 35.6}),
    (17.5, "hot_spot", {}),
    (17.8, "panel_moved", {"by_mm": 4, "side": "rising_level"}),
    (18.4, "tuning_shown", {"percent": 81}),
    (19.0, "hot_spot_gone", {}),
    (21.0, "panel_moved", {"by_mm": -4, "side": "rising_level"}),
    (24.0, "skin_reading", {"celsius": 37.1}),
    (25.0, "comfort", {"score": 7}),
    (29.0, "paused", {}),
    (30.5, "resumed", {}),
    (36.0, "comfort", {"score": 8}),
    (40.0, "stopped", {}),
    (43.0, "skin_looked", {"redness": 1, "words": "Even pink, gone after ten minutes."}),
)
"""What was entered in a past visit, and in which minute; where a place is needed it is the plan's first."""


def make_visits() -> None:
    """Everything that a visit of today needs to begin."""
    NextSteps(
        grade_1="Invented: cool the place, look again after 20 minutes, call the client the next day.",
        grade_2="Invented: stop, cover the place, the lead clinician looks at it before the client leaves.",
        grade_3="Invented: stop, the lead clinician at once, a doctor the same day.",
        grade_4="Invented: the emergency number, then the lead clinician.",
        grade_5="Invented: the emergency number, then the lead clinician and the owner.",
    ).save()
    person = Person.objects.get(family_name="Holvat")
    plan = resources.files("evenfield.clinic.visits") / "data" / "demonstration_thigh.toml"
    text = plan.read_text(encoding="utf-8")
    for visit in Visit.objects.filter(course__person=person):
        planned = min(visit.planned_start - timedelta(days=1), timezone.now())
        visit.plan = {"case": text, "at": planned.isoformat()}
        visit.save()
    for visit in done_visits():
        _enter(visit)
    run = begin(person)
    for line in default_checklist().line:
        tick(person, run.number, line.id, done=True)


def _enter(visit: Visit) -> None:
    """A past visit as it would stand in the record."""
    assert visit.started_at
    assert visit.ended_at
    with invented_at(visit.started_at):
        keep_beginning(visit)
    plan = plan_of(visit.plan, visit.course.region)
    zone = plan.places[0]["label"]
    for number, (minute, kind, said) in enumerate(_PAST):
        place: dict[str, Any] = {}
        if kind in ("skin_reading", "hot_spot", "hot_spot_gone"):
            place = {"zone": zone}
        elif kind == "panel_moved":
            if not plan.panels:
                continue
            place = {"panel": plan.panels[0]["name"]}
        at_s = 60.0 * minute + 5.0 * (visit.pk % 7)
        told = {"kind": kind, "id": f"past-{visit.pk}-{number}", "at_s": at_s, "received_s": at_s + 1.0}
        event = event_from_mapping({**told, **said, **place})
        content = {"event": event_to_mapping(event), "clock": {"off_s": 0.0, "mark": ""}}
        with invented_at(visit.started_at + timedelta(seconds=at_s + 1.0)):
            VisitEntry.of(visit, kind, event.id, content)
    closing = {
        "at_s": 2760.0,
        "client_words": "Invented: warm all over, one place too warm for a moment.",
        "next_words": "Invented: begin with the panel 2 mm further off.",
        "redness": 1,
        "broken": False,
        "skin_words": "Even pink, gone after ten minutes.",
        "estimate": None,
    }
    with invented_at(visit.ended_at):
        VisitEntry.of(visit, Kind.CLOSING, f"closing-{visit.pk}", closing)
