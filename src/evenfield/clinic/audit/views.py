"""The trail on the screen."""

from datetime import datetime, time, timedelta

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from evenfield.clinic.access import requires
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.forms import NOBODY, TrailForm
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.audit.shown import shown_events
from evenfield.clinic.people.models import Person
from evenfield.clinic.whole_numbers import whole_number

_PER_PAGE = 50


@requires("audit.view")
def trail_page(request: HttpRequest) -> HttpResponse:
    """The latest entries asked for, or those before a number; looking at the trail is itself recorded."""
    asked = request.GET.copy()
    record, before = asked.get("record", ""), whole_number(asked.get("before", ""))
    if record:  # by its number, as pages linked to it before
        known = Person.objects.filter(pk=whole_number(record) or 0)
        asked["person"] = known.values_list("code", flat=True).first() or "unknown"
    form = TrailForm(asked)
    found: list[AuditEvent] = []
    if form.is_valid():
        events = _found(form)
        if before is not None:
            events = events.filter(number__lt=before)
        found = list(events.select_related("detail")[: _PER_PAGE + 1])
    trail.record(Action.READ, kind="audit.auditevent", object_id="" if before is None else before)
    shown = found[:_PER_PAGE]
    for name in ("before", "record"):
        asked.pop(name, None)
    if len(found) > _PER_PAGE:
        asked["before"] = str(shown[-1].number)
    lines = shown_events(shown)
    return render(
        request,
        "audit/trail.html",
        {"form": form, "lines": lines, "earlier": asked.urlencode() if len(found) > _PER_PAGE else ""},
    )


def _found(form: TrailForm) -> QuerySet[AuditEvent]:
    given = form.cleaned_data
    events = AuditEvent.objects.order_by("-number")
    if given["person"]:
        events = events.filter(subject_id__in=[one.pk for one in given["person"].one_person()])
    if given["staff"]:
        staff = given["staff"]
        events = events.filter(actor_id=None) if staff == NOBODY else events.filter(actor_id=int(staff))
    if given["action"]:
        events = events.filter(action=given["action"])
    if given["day"]:
        start, end = (
            timezone.make_aware(datetime.combine(given["day"] + timedelta(days=days), time.min))
            for days in (0, 1)
        )
        events = events.filter(at__gte=start, at__lt=end)
    return events
