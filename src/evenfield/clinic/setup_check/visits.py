"""Whether the set-up was gone through for a visit."""

from collections.abc import Mapping, Sequence

from django.urls import reverse
from django.utils import timezone

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.parts import VisitNeed
from evenfield.clinic.people.models import Person
from evenfield.clinic.setup_check.runs import runs


def needs(people: Sequence[Person], visits: Sequence[Visit]) -> Mapping[int, Sequence[VisitNeed]]:
    """The set-up for each of these visits of one person; done today means no line is open."""
    today = timezone.localdate()
    address = reverse("setup-check", kwargs={"code": people[0].code})
    every = runs(people[0])
    newest = {run.day: run for run in reversed(every)}
    found = {}
    for visit in visits:
        run = newest.get(visit.day)
        if visit.day > today:
            need = VisitNeed("set-up", False, "on the day itself", address)
        elif run is None:
            need = VisitNeed("set-up", False, "not gone through", address)
        else:
            open_lines = len(run.ready().open) if run.is_present() else 0
            words = f"{open_lines} open" if open_lines else "gone through"
            need = VisitNeed("set-up", not open_lines, words, address)
        found[visit.pk] = [need]
    return found
