"""What speaks against beginning a visit just now, and is asked about before it begins."""

from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format

from evenfield.clinic.courses.models import Visit, VisitState


def doubts_before(visit: Visit) -> list[str]:
    """One sentence for each: it is planned for another day, or its room or device is in use."""
    found = []
    day = timezone.localtime(visit.planned_start).date()
    if day != timezone.localdate():
        found.append(f"This visit is planned for {date_format(day, 'D')} {date_format(day)}, not for today.")
    busy = Q(room=visit.room, room__isnull=False) | Q(device=visit.device, device__isnull=False)
    there = Visit.objects.filter(busy, state=VisitState.RUNNING).exclude(pk=visit.pk)
    for other in there.select_related("course__person", "room", "device").order_by("pk"):
        for mine, taken in ((visit.room, other.room), (visit.device, other.device)):
            if mine is not None and mine == taken:
                found.append(f"{mine} is in use by the running visit of {other.person.kept.shown_code}.")
    return found
