"""Whether the set-up was gone through for a visit."""

from collections.abc import Mapping, Sequence

from django.urls import reverse
from django.utils import timezone

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.parts import VisitNeed
from evenfield.clinic.people.models import Person
from evenfield.clinic.setup_check.runs import days_of_runs, present_run


def needs(people: Sequence[Person], visits: Sequence[Visit]) -> Mapping[int, Sequence[VisitNeed]]:
    """The set-up for each of these visits of one person; done today means no line is open."""
    today = timezone.localdate()
    address = reverse("setup-check", kwargs={"code": people[0].code})
    days, present = days_of_runs(people[0]), present_run(people[0])
    open_today = len(present.ready().open) if present else 0
    found = {}
    for visit in visits:
        if visit.day > today:
            need = VisitNeed("set-up", False, "on the day itself", address)
        elif visit.day not in days:
            need = VisitNeed("set-up", False, "not gone through", address)
        else:
            open_lines = open_today if visit.day == today else 0
            words = f"{open_lines} open" if open_lines else "gone through"
            need = VisitNeed("set-up", not open_lines, words, address)
        found[visit.pk] = [need]
    return found
