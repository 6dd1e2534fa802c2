"""Whether the set-up was gone through for a visit."""

from collections.abc import Mapping, Sequence

from django.urls import reverse
from django.utils import timezone

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.parts import VisitNeed
from evenfield.clinic.people.models import Person
from evenfield.clinic.setup_check.runs import begun_runs, with_ticks


def needs(people: Sequence[Person], visits: Sequence[Visit]) -> Mapping[int, Sequence[VisitNeed]]:
    """The set-up for each of these visits of one person; done today means no line is open."""
    today = timezone.localdate()
    address = reverse("setup-check", kwargs={"code": people[0].code})
    begun = begun_runs(people)
    days = {(run.day, run.region) for run in begun}
    present = next(iter(with_ticks(people, [run for run in begun[:1] if run.is_present()])), None)
    open_lines = len(present.ready().open) if present else 0
    found = {}
    for visit in visits:
        if visit.day > today:
            need = VisitNeed("set-up", False, "on the day itself", address)
        elif visit.day == today and visit.started_at is None:
            there = present is not None and present.is_for(visit)
            words = (
                "not gone through" if not there else f"{open_lines} open" if open_lines else "gone through"
            )
            need = VisitNeed("set-up", there and not open_lines, words, address)
        else:
            there = bool({(visit.day, ""), (visit.day, visit.course.region_words)} & days)
            need = VisitNeed("set-up", there, "gone through" if there else "not gone through", address)
        found[visit.pk] = [need]
    return found
