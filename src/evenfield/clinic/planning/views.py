"""A plan and what was computed for it."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import plotly  # type: ignore[import-untyped]
from csp.decorators import csp_update
from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_POST

from evenfield.case import CaseError
from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.own_files import skin_limit_c
from evenfield.clinic.planning import manual, store
from evenfield.clinic.planning.finding import done, newest, plan_or_404
from evenfield.clinic.planning.models import JobKind, JobState, Plan
from evenfield.conduct.profile import ProfileError

View = TypeVar("View", bound=Callable[..., Any])
FILES = {
    "section.svg": "forecast", "maps.svg": "forecast", "in_time.svg": "forecast", "zones.svg": "forecast",
    "report.pdf": "forecast",
    "forecast.json": "forecast", "surface.json": "forecast",
    "placement.svg": "placing", "what_to_watch.pdf": "placing", "placing.json": "placing",
    "bands.svg": "sureness", "drivers.svg": "sureness", "minutes_power.svg": "sureness",
    "sureness.json": "sureness",
}  # fmt: skip
"""What can be asked for by name, and the computation it comes from."""
TYPES = {".svg": "image/svg+xml", ".pdf": "application/pdf", ".json": "application/json"}


@requires("planning.use")
def plan_page(request: StaffRequest, number: int) -> HttpResponse:
    """The forecast of a plan, or how far it is."""
    plan = plan_or_404(number)
    trail.record(Action.READ, kind="planning.plan", object_id=plan.pk, subject_id=plan.subject_id())
    shown = _shown(plan)
    context = _context(plan, JobKind.FORECAST) | {
        "shown": shown,
        "pictures": [p for p in shown["pictures"] if p["file"] in FILES] if shown else [],
        "versions": _versions(plan),
        "limits": manual.told(plan.device),
        "beyond": _beyond(plan),
        "skin_words": _skin_words(plan),
        "fat_words": _fat_words(plan),
        "is_saved": _is_saved(plan),
    }
    return render(request, "planning/plan.html", context)


@requires("planning.use")
def placing(request: StaffRequest, number: int) -> HttpResponse:
    """What errors of placing would do."""
    return _part(request, number, JobKind.PLACING, "planning/placing.html")


@requires("planning.use")
def sureness(request: StaffRequest, number: int) -> HttpResponse:
    """How sure the forecast is."""
    return _part(request, number, JobKind.SURENESS, "planning/sureness.html")


@requires("planning.use")
def advice(request: StaffRequest, number: int) -> HttpResponse:
    """What a search found."""
    return _part(request, number, JobKind.ADVICE, "planning/advice.html")


def _part(request: StaffRequest, number: int, kind: JobKind, template: str) -> HttpResponse:
    plan = plan_or_404(number)
    trail.record(Action.READ, kind="planning.plan", object_id=plan.pk, subject_id=plan.subject_id())
    found = done(plan, kind)
    context = _context(plan, kind) | {"found": found.result if found else None}
    return render(request, template, context)


def _context(plan: Plan, kind: JobKind) -> dict[str, Any]:
    """What every page of a plan shows."""
    return {"plan": plan, "person": plan.person.kept, "job": newest(plan, kind), "kind": kind}


_with_styles = cast(Callable[[View], View], csp_update({"style-src": "'unsafe-inline'"}))


@requires("planning.use")
@_with_styles
def in_space(request: StaffRequest, number: int) -> HttpResponse:
    """Skin and panels in space. The drawing library writes styles into the page: allowed on this one only."""
    plan = plan_or_404(number)
    shown = _shown(plan)
    if shown is None:
        return redirect("plan", number=plan.pk)
    words = next(p["words"] for p in shown["pictures"] if p["name"] == "maps")
    context = {"plan": plan, "person": plan.person.kept, "shown": shown, "words": words}
    return render(request, "planning/space.html", context)


@requires("planning.use")
@cache_control(private=True, max_age=86400)
def drawing_library(request: StaffRequest) -> HttpResponse:
    """The script that comes with the plotly package, from this computer."""
    script = Path(plotly.__file__).parent / "package_data" / "plotly.min.js"
    return HttpResponse(script.read_bytes(), content_type="text/javascript; charset=utf-8")


@requires("planning.use")
def plan_file(request: StaffRequest, number: int) -> HttpResponse:
    """A picture, the report or the numbers of a plan."""
    plan = plan_or_404(number)
    name = request.GET.get("name", "")
    if name not in FILES:
        raise Http404
    path = store.folder_of(plan.pk, FILES[name]) / name
    if not path.is_file():
        raise Http404
    if path.suffix != ".svg":
        trail.record(
            Action.EXPORT, kind="planning.plan", object_id=plan.pk, subject_id=plan.subject_id(), note=name
        )
    download = path.suffix == ".pdf" or "keep" in request.GET
    answer = HttpResponse(path.read_bytes(), content_type=TYPES[path.suffix])
    answer.headers["Content-Disposition"] = f'{"attachment" if download else "inline"}; filename="{name}"'
    return answer


@requires("planning.use")
@require_POST
def save_plan(request: StaffRequest, number: int) -> HttpResponse:
    """Make this version the plan of its visit; earlier ones are kept."""
    plan = plan_or_404(number)
    if problem := _why_not(plan):
        messages.error(request, problem)
        return redirect("plan", number=plan.pk)
    with transaction.atomic():
        visit = Visit.objects.select_for_update(of=("self",)).select_related("course").get(pk=plan.visit_id)
        now = timezone.now()
        plan.saved, plan.saved_by = now, request.user
        plan.save()
        visit.plan = {
            "case": plan.case,
            "forecast": plan.summary,
            "at": now.isoformat(),
            "by": request.user.username,
            "version": plan.pk,
        }
        visit.save()
    messages.success(request, "Saved: this is now the plan of the visit. Earlier versions are kept.")
    return redirect("plan", number=plan.pk)


def _why_not(plan: Plan) -> str:
    """Why a plan cannot be saved to its visit; "" if it can."""
    if plan.visit is None:
        return "This plan was made without a visit: open the visit and plan it there."
    if plan.visit.state != VisitState.PLANNED:
        return f"The visit is {plan.visit.get_state_display()}; its plan stays as it was."
    if done(plan, JobKind.FORECAST) is None:
        return "The forecast is not computed yet; a plan is saved with what it forecasts."
    return next(iter(_beyond(plan).values()), "")


def _beyond(plan: Plan) -> dict[str, str]:
    """What lies beyond the limits of the manual, which may have changed since."""
    try:
        return manual.beyond(plan.checked_case(), plan.device)
    except CaseError as error:
        return {"": f"This plan can no longer be read: {error}"}


def _skin_words(plan: Plan) -> str:
    """What to say where the forecast goes above the clinic's skin limit; "" where it does not."""
    try:
        limit = skin_limit_c()
    except ProfileError as error:
        return str(error)
    peak = plan.summary.get("peak_c", {}).get("skin")
    if peak is None or peak <= limit:
        return ""
    return (
        f"The hottest skin of this estimate, {peak:.1f} °C, is above the clinic's limit of {limit:g} °C: "
        "less power, a larger gap or more cooling would lower it."
    )


def _fat_words(plan: Plan) -> str:
    """What to say where the hottest fat of the forecast lies above the wanted band; "" where it does not."""
    peak = plan.summary.get("peak_c", {}).get("fat")
    if peak is None:
        return ""
    try:
        low, high = plan.checked_case().session.band_c
    except CaseError:
        return ""  # the page says so already
    if peak <= high:
        return ""
    dose = plan.summary.get("fat_cem43")
    return (
        f"The hottest fat of this estimate, {peak:.1f} °C, is above the wanted band of {low:g} to {high:g} °C"
        f"{f', with a CEM43 of {dose} min at the worst point of the zones' if dose else ''}: "
        "less power, fewer minutes or a larger gap would lower it."
    )


def _is_saved(plan: Plan) -> bool:
    return bool(plan.visit and plan.visit.plan.get("version") == plan.pk)


def _versions(plan: Plan) -> list[Plan]:
    """The versions for the same visit, or of the same region if without one; the newest first."""
    same = Plan.objects.filter(person_id=plan.person_id, region=plan.region, side=plan.side, visit=plan.visit)
    return list(same.select_related("made_by").order_by("-pk")[:20])


def _shown(plan: Plan) -> dict[str, Any] | None:
    """What the report says, for the page; None while there is no forecast."""
    job = plan.jobs.filter(kind=JobKind.FORECAST, state=JobState.DONE).last()
    if job is None:
        return None
    try:
        text = (store.folder_of(plan.pk, "forecast") / "shown.json").read_text(encoding="utf-8")
    except OSError:
        return None
    shown: dict[str, Any] = json.loads(text)
    return shown
