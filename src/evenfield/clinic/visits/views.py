"""The overview of running visits."""

from typing import Any

from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.visits.estimating import ESTIMATES
from evenfield.clinic.visits.for_rules import for_conduct
from evenfield.clinic.visits.running import read_newer, running
from evenfield.clinic.visits.telling import phase_words, question
from evenfield.clinic.visits.today import waiting_today
from evenfield.clinic.visits.wording import clock
from evenfield.conduct.profile import Urgency


@requires("visits.view")
@require_safe
def running_visits(request: StaffRequest) -> HttpResponse:
    """All rooms at once, and what of today can begin."""
    there = waiting_today().filter(course__person__erased__isnull=True)
    waiting = there.select_related("course__person__merged_into", "room")
    return render(request, "visits/running.html", {"visits": _lines(), "waiting": waiting})


@requires("visits.view", activity=False)
@require_safe
def running_now(request: StaffRequest) -> HttpResponse:
    """The same as data; the page asks for it by itself."""
    return JsonResponse({"visits": _lines()})


def _lines() -> list[dict[str, Any]]:
    visits = Visit.objects.filter(state=VisitState.RUNNING, course__person__erased__isnull=True)
    found = list(visits.select_related("course__person", "room").order_by("room__name", "started_at"))
    newest = read_newer(found)
    lines = [_line(visit, newest[visit.pk]) for visit in found]
    return sorted(lines, key=lambda line: line["urgency"] != Urgency.NOW)


def _line(visit: Visit, newest: int) -> dict[str, Any]:
    run = running(visit, newest=newest)
    estimate, words = ESTIMATES.newest(question(run))
    advice = run.advice(for_conduct(estimate))
    now = advice.state
    first = advice.prompts[0] if advice.prompts else None
    hottest = None
    if estimate and estimate["zones"] and advice.estimate_used:
        hottest = max(zone["skin_hottest_c"][0] for zone in estimate["zones"])
    return {
        "address": reverse("live-visit", kwargs={"number": visit.pk}),
        "room": visit.room.name if visit.room else "no room",
        "person": visit.person.kept.full_name,
        "region": visit.course.region_words,
        "now_s": round(run.now_s, 1),
        "phase": phase_words(advice),
        "clock": clock(run.now_s),
        "power_w": now.power_w,
        "power_words": "off" if now.stopped else f"{now.power_w:g} W",
        "tuning": now.tuning.value if now.tuning else None,
        "prompt": first.what if first else "",
        "urgency": first.urgency.value if first else "",
        "skin_hottest_c": hottest,
        "estimate_words": words,
    }
