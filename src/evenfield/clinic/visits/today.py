"""Visits that run or are of today."""

from collections.abc import Sequence
from datetime import time, timedelta

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils import timezone

from evenfield.clinic.courses.booking import at_clinic
from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.people.models import Person


def _of_today() -> Q:
    today = timezone.localdate()
    begin, end = at_clinic(today, time(0)), at_clinic(today + timedelta(days=1), time(0))
    return Q(state=VisitState.PLANNED, planned_start__gte=begin, planned_start__lt=end)


def waiting_today() -> QuerySet[Visit]:
    """Visits of today that were not begun, in order of time."""
    return Visit.objects.filter(_of_today()).defer("plan").order_by("planned_start")


def ways_to_visits(people: Sequence[Person]) -> list[tuple[str, str]]:
    """From someone's pages to their visit that runs, else to those of today."""
    there = Visit.objects.filter(Q(state=VisitState.RUNNING) | _of_today(), course__person__in=people)
    found = list(there.order_by("planned_start").values_list("state", "pk"))
    words = {VisitState.RUNNING: "To the running visit", VisitState.PLANNED: "To the visit of today"}
    running = any(state == VisitState.RUNNING for state, _number in found)
    return [
        (words[VisitState(state)], reverse("live-visit", kwargs={"number": number}))
        for state, number in found
        if (state == VisitState.RUNNING) == running
    ]
