"""The trail on the screen."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from evenfield.clinic.access import requires
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action, AuditEvent

_PER_PAGE = 50


@requires("audit.view")
def trail_page(request: HttpRequest) -> HttpResponse:
    """The latest entries, or those before a given number; looking at the trail is itself recorded."""
    events = AuditEvent.objects.order_by("-number")
    before = request.GET.get("before", "")
    if before.isdigit():
        events = events.filter(number__lt=int(before))
    subject = request.GET.get("record", "")
    if subject.isdigit():
        events = events.filter(subject_id=int(subject))
    shown = list(events[: _PER_PAGE + 1])
    trail.record(Action.READ, kind="audit.auditevent", object_id=before)
    return render(
        request,
        "audit/trail.html",
        {
            "events": shown[:_PER_PAGE],
            "more": len(shown) > _PER_PAGE,
            "last": shown[:_PER_PAGE][-1].number if shown else 0,
            "record": subject,
        },
    )
