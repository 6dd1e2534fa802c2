"""The live page: begin a visit, take its entries, tell the page what is so."""

import json
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_POST, require_safe

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.courses.finding import visit_or_404
from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.courses.visits import VisitError
from evenfield.clinic.visits import running as runs
from evenfield.clinic.visits.doubts import doubts_before
from evenfield.clinic.visits.plans import plan_of
from evenfield.clinic.visits.recording import BatchError, take_batch
from evenfield.clinic.visits.short_way import remember
from evenfield.clinic.visits.telling import heartbeat
from evenfield.clinic.whole_numbers import whole_number
from evenfield.conduct.profile import ProfileError

_LONGEST_REASON = 200  # characters, as the visit holds it


@requires("visits.view")
@require_safe
@ensure_csrf_cookie
def live_visit(request: StaffRequest, number: int) -> HttpResponse:
    """What is missing before it, the running visit, or the way to its report."""
    visit = visit_or_404(number)
    person = visit.person.kept
    if visit.state == VisitState.DONE:
        return redirect("visit-report", number=number)
    if visit.state not in (VisitState.PLANNED, VisitState.RUNNING):
        return redirect("visit", number=number)
    trail.record(Action.READ, kind="courses.visit", object_id=visit.pk, subject_id=visit.subject_id())
    context: dict[str, Any] = {"visit": visit, "person": person}
    if visit.state == VisitState.PLANNED:
        context |= {"missing": runs.missing_before(visit), "plan": plan_of(visit.plan, visit.course.region)}
        context |= {"doubts": doubts_before(visit)}
        return render(request, "visits/start.html", context)
    assert visit.started_at
    context["start_ms"] = round(visit.started_at.timestamp() * 1000)
    context["server_ms"] = round(timezone.now().timestamp() * 1000)
    return render(request, "visits/live.html", context)


@requires("visits.enter")
@require_POST
def begin_visit(request: StaffRequest, number: int) -> HttpResponse:
    """The visit's clock starts, if nothing is missing."""
    visit = visit_or_404(number)
    try:
        runs.begin(visit, request.POST.getlist("despite"), request.POST.get("reason", "")[:_LONGEST_REASON])
    except (VisitError, ProfileError) as error:
        messages.error(request, str(error))
    return redirect("live-visit", number=number)


@requires("visits.enter")
@require_POST
def visit_entries(request: StaffRequest, number: int) -> HttpResponse:
    """Keep what a tablet sends. The answer is given after the commit; each entry has its own."""
    received = timezone.now()
    try:
        answers = take_batch(number, json.loads(request.body), received)
    except Visit.DoesNotExist:
        raise Http404 from None
    except (BatchError, ValueError) as error:
        visit_or_404(number)
        said = str(error) if isinstance(error, BatchError) else "The sending is not JSON."
        return JsonResponse({"problem": said}, status=400)
    return JsonResponse({"answers": [answer.as_json() for answer in answers]})


@requires("visits.view", activity=False)
@require_safe
def visit_now(request: StaffRequest, number: int) -> HttpResponse:
    """The heartbeat, the whole way; the next ones of this browser may take the short one."""
    received = timezone.now()
    try:
        visit, newest = runs.slim(number)
        answer = told(request, visit, newest, received)
    except (Visit.DoesNotExist, VisitError):
        raise Http404 from None
    remember(request)
    return answer


def told(request: HttpRequest, visit: Visit, newest: int, received: datetime) -> HttpResponse:
    """What a page is told about a visit with its state and times, whose last entry has the number `newest`.
    Raises VisitError for a visit without a clock."""
    run = runs.running(visit, newest=newest)
    after, have = request.GET.get("after", "0"), request.GET.get("have", "")
    content = heartbeat(run, whole_number(after) or 0, float(have) if _number(have) else None, received)
    if after == "0":
        content["plan"] = run.plan.as_json()
    return JsonResponse(content)


def _number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
