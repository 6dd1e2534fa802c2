"""An invented visit of today that can be begun, and invented steps after unwanted events."""

from importlib import resources

from django.utils import timezone

from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.people.models import Person
from evenfield.clinic.setup_check.runs import begin, tick
from evenfield.clinic.visits.models import NextSteps
from evenfield.conduct.setup import default_checklist


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
    for visit in Visit.objects.filter(course__person=person, state=VisitState.PLANNED):
        visit.plan = {"case": text, "at": timezone.now().isoformat()}
        visit.save()
    run = begin(person)
    for line in default_checklist().line:
        tick(person, run.number, line.id, done=True)
