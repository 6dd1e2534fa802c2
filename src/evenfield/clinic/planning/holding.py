"""What planning holds about a person, and how it is blanked."""

from typing import Any

from django.db import transaction

from evenfield.clinic.audit.recorded import unrecorded
from evenfield.clinic.parts import Holding
from evenfield.clinic.people.models import Person
from evenfield.clinic.planning import store
from evenfield.clinic.planning.models import Job, Plan


def exported(people: list[Person]) -> Holding:
    """Every version with its case as a file."""
    rows: list[dict[str, Any]] = []
    files: dict[str, bytes] = {}
    plans = Plan.objects.filter(person__in=people).select_related("made_by", "saved_by", "device", "visit")
    for plan in plans.order_by("pk"):
        name = f"plan-{plan.pk}.toml"
        files[name] = plan.case.encode()
        rows.append(
            {
                "number": plan.pk,
                "region": plan.region_words,
                "device": str(plan.device or ""),
                "case": name,
                "sources": plan.sources,
                "summary": plan.summary,
                "made": plan.made,
                "made_by": plan.made_by.username if plan.made_by else "",
                "saved": plan.saved,
                "saved_by": plan.saved_by.username if plan.saved_by else "",
            }
        )
    return Holding({"plans": rows}, files)


def erase(people: list[Person]) -> None:
    """Blank every version; what was computed goes once the erasure is certain. A running computation ends,
    because its row is gone."""
    numbers = list(Plan.objects.filter(person__in=people).values_list("pk", flat=True))
    Job.objects.filter(plan__in=numbers).delete()
    unrecorded(Plan).filter(pk__in=numbers).update(case="", sources={}, summary={}, side="")
    transaction.on_commit(lambda: store.forget(numbers))
