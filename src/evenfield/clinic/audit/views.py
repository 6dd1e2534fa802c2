"""The trail on the screen."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from evenfield.clinic.access import requires
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.whole_numbers import whole_number

_PER_PAGE = 50


@requires("audit.view")
def trail_page(request: HttpRequest) -> HttpResponse:
    """The latest entries, or those before a given number; looking at the trail is itself recorded."""
    events = AuditEvent.objects.order_by("-number")
    before, subject = (whole_number(request.GET.get(name, "")) for name in ("before", "record"))
    if before is not None:
        events = events.filter(number__lt=before)
    if subject is not None:
        events = events.filter(subject_id=subject)
    shown = list(events[: _PER_PAGE + 1])
    trail.record(Action.READ, kind="audit.auditevent", object_id=before or "")
    return render(
        request,
        "audit/trail.html",
        {
            "events": shown[:_PER_PAGE],
            "more": len(shown) > _PER_PAGE,
            "last": shown[:_PER_PAGE][-1].number if shown else 0,
            "record": "" if subject is None else str(subject),
        },
    )
