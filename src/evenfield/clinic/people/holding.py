"""What this part holds about a person: its rows, and how they are blanked."""

from typing import Any

from django.utils import timezone

from evenfield.clinic.audit.recorded import unrecorded
from evenfield.clinic.parts import Holding
from evenfield.clinic.people.models import NameTrigram, Person

_SHOWN = (
    "code", "given_name", "family_name", "other_names", "born", "phone", "email", "note", "active",
    "inactive_reason", "hold_reason", "created",
)  # fmt: skip


def exported(people: list[Person]) -> Holding:
    """Every field of every record, for the archive."""
    records: list[dict[str, Any]] = [{field: getattr(person, field) for field in _SHOWN} for person in people]
    return Holding({"records": records}, {})


def blank(people: list[Person]) -> None:
    """Leave number, code and the time of erasure."""
    numbers = [person.pk for person in people]
    NameTrigram.objects.filter(person_id__in=numbers).delete()
    unrecorded(Person).filter(pk__in=numbers).update(**Person.blank_when_erased, erased=timezone.now())
