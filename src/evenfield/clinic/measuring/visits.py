"""Whether the region of a visit has been measured."""

from collections.abc import Mapping, Sequence

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localtime

from evenfield.clinic.courses.models import Visit
from evenfield.clinic.measuring.for_planning import newest_girths
from evenfield.clinic.measuring.history import in_force
from evenfield.clinic.measuring.plan import sides_of
from evenfield.clinic.parts import VisitNeed
from evenfield.clinic.people.models import Person


def needs(people: Sequence[Person], visits: Sequence[Visit]) -> Mapping[int, Sequence[VisitNeed]]:
    """For each visit of one person: complete girths of its region, on both sides if it names none."""
    numbers = in_force(people[0])
    address = reverse("measurements", kwargs={"code": people[0].code})
    found = {}
    for visit in visits:
        region, side = visit.course.region_kind, visit.course.side
        sides = ("",) if not sides_of(region) else (side,) if side else sides_of(region)
        sets = [newest_girths(numbers, region, one) for one in sides]
        missing = " and ".join(one for one, girths in zip(sides, sets, strict=True) if not girths)
        if all(sets):
            oldest = min(girths[0].at for girths in sets)
            words = date_format(localtime(oldest), "SHORT_DATE_FORMAT")
        else:
            words = f"not measured{f': {missing}' if missing else ''}"
        found[visit.pk] = [VisitNeed("measurements", all(sets), words, address)]
    return found
