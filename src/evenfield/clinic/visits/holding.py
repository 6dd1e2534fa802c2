"""What this part holds about a person, and how it is erased."""

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.parts import Holding
from evenfield.clinic.people.models import Person
from evenfield.clinic.visits import running
from evenfield.clinic.visits.estimating import forget_models
from evenfield.clinic.visits.models import VisitEntry


def exported(people: list[Person]) -> Holding:
    """Every entry of every visit, oldest first."""
    entries = VisitEntry.about([person.pk for person in people])
    data = [
        {
            "number": one.number,
            "visit": one.visit_id,
            "at": one.at,
            "kind": one.kind,
            "roles": one.roles,
            **one.content,
        }
        for one in reversed(entries)
    ]
    return Holding({"visit entries": data}, {})


def erase(people: list[Person]) -> None:
    """Remove the content; that something was entered stays. Models follow from measurements and go too."""
    VisitEntry.forget([person.pk for person in people])
    numbers = list(Visit.objects.filter(course__person__in=people).values_list("pk", flat=True))
    running.forget(numbers)
    forget_models(numbers)
