"""Changing gap, tilt, place, power and minutes of a plan, with a quick or a full answer."""

from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from evenfield.applicator import check_placement
from evenfield.body import RegionKind
from evenfield.case import Case, CaseError, case_from_toml, case_to_toml
from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest, wants_json
from evenfield.clinic.planning import jobs, manual, store
from evenfield.clinic.planning.asking import (
    Control,
    changes,
    panel_controls,
    session_controls,
    what_if_of,
)
from evenfield.clinic.planning.asking import controls as all_controls
from evenfield.clinic.planning.finding import done, newest, plan_or_404
from evenfield.clinic.planning.models import JobKind, Plan
from evenfield.clinic.planning.prefill import PlanFor
from evenfield.clinic.planning.resident import resident
from evenfield.clinic.planning.sheet import number as typed_number
from evenfield.clinic.planning.sheet import panel_sentence, shown
from evenfield.clinic.planning.views_form import new_plan
from evenfield.clinic.whole_numbers import whole_number


@requires("planning.use")
def what_if(request: StaffRequest, number: int) -> HttpResponse:
    """The page with its controls; for its script the quick answer alone."""
    plan = plan_or_404(number)
    try:
        case = plan.checked_case()
    except CaseError as error:
        messages.error(request, f"This plan can no longer be read: {error}")
        return redirect("plan", number=plan.pk)
    typed, wrong = _typed(case, request.GET)
    asked = {} if wrong else changes(case, typed)
    ready = done(plan, JobKind.PREVIEW)
    answer = _quick(plan, case, asked) if ready and asked else None
    if wants_json(request):
        if wrong:
            return JsonResponse({"problem": " ".join(wrong.values())})
        if not asked:
            return JsonResponse({"nothing": True})
        return JsonResponse(answer or {"waiting": True})
    groups = [
        (f"{panel.name} panel", _rows(panel_controls(case, n), request, wrong))
        for n, panel in enumerate(case.panels)
    ]
    groups.append(("power and time", _rows(session_controls(case), request, wrong)))
    full = list(plan.jobs.filter(kind=JobKind.FULL).order_by("-pk")[:10])
    context: dict[str, Any] = {
        "plan": plan,
        "person": plan.person.kept,
        "groups": groups,
        "job": newest(plan, JobKind.PREVIEW),
        "kind": JobKind.PREVIEW,
        "ready": ready,
        "asked": bool(asked),
        "answer": answer,
        "full": full,
        "full_job": next((job for job in full if job.active), None),
        "limits": manual.told(plan.device),
    }
    return render(request, "planning/what_if.html", context)


@requires("planning.use")
@require_POST
def full(request: StaffRequest, number: int) -> HttpResponse:
    """Order the full answer to what is set."""
    plan, case, asked = _posted(request, number)
    if asked is None:
        return redirect("what-if", number=plan.pk)
    try:
        changed = what_if_of(case, asked).applied_to(case)
        check_placement(changed.region, changed.placed)
    except (ValueError, KeyError) as error:
        told = panel_sentence(error) if isinstance(error, ValueError) else f"{error}."
        messages.error(request, f"This is not possible. {told}")
        return redirect("what-if", number=plan.pk)
    jobs.order(plan, JobKind.FULL, asked)
    return redirect(f"{request.path.removesuffix('full/')}?{_query(asked)}")


@requires("planning.use")
@require_POST
def take(request: StaffRequest, number: int) -> HttpResponse:
    """Plan what is set, or an option of the advice, as another version."""
    if "option" in request.POST:
        plan = plan_or_404(number)
        changed = _option(plan, request.POST["option"])
    else:
        plan, case, asked = _posted(request, number)
        changed = what_if_of(case, asked).applied_to(case) if asked else None
    if changed is None:
        messages.error(request, "There is nothing to take over.")
        return redirect("plan", number=plan.pk)
    try:
        changed = case_from_toml(case_to_toml(_picture_within(changed)), "")
    except CaseError as error:
        messages.error(request, f"This cannot be planned. {panel_sentence(error)}")
        return redirect("what-if", number=plan.pk)
    if beyond := manual.beyond(changed, plan.device):
        messages.error(request, " ".join(beyond.values()))
        return redirect("what-if", number=plan.pk)
    planned = PlanFor(plan.person.kept, RegionKind(plan.region), plan.side, plan.visit, plan.device)
    return redirect("plan", number=new_plan(request, planned, changed, plan.sources).pk)


def _option(plan: Plan, chosen: str) -> Case | None:
    found = done(plan, JobKind.ADVICE)
    options = found.result["options"] if found else []
    place = whole_number(chosen)
    if place is None or place >= len(options):
        return None
    return case_from_toml(options[place]["case"], "")


def _picture_within(case: Case) -> Case:
    """The pictures stay at the end of power, or within the session."""
    s = case.session
    if s.picture_s > s.end_s or "session.picture_minute" in {a.key for a in case.defaults}:
        return replace(case, session=replace(s, picture_s=s.power.end_s))
    return case


def _posted(request: StaffRequest, number: int) -> tuple[Plan, Case, dict[str, float] | None]:
    plan = plan_or_404(number)
    case = plan.checked_case()
    typed, wrong = _typed(case, request.POST)
    asked = changes(case, typed)
    if wrong or not asked:
        messages.error(request, " ".join(wrong.values()) or "Nothing is changed.")
        return plan, case, None
    return plan, case, asked


def _typed(case: Case, given: Any) -> tuple[dict[str, float], dict[str, str]]:
    """Numbers by name, and what is wrong with others."""
    typed: dict[str, float] = {}
    wrong: dict[str, str] = {}
    for one in all_controls(case):
        if text := given.get(one.name, "").strip():
            try:
                typed[one.name] = typed_number(text)
            except ValueError as error:
                wrong[one.name] = f"{one.words}: {error}"
    return typed, wrong


def _quick(plan: Plan, case: Case, asked: dict[str, float]) -> dict[str, Any] | None:
    answer = resident.ask(store.folder_of(plan.pk, "preview") / "preview.npz", asked)
    if answer and "problem" not in answer:
        answer["beyond"] = list(manual.beyond(what_if_of(case, asked).applied_to(case), plan.device).values())
        answer["parts"] = parts(answer["words"])
    return answer


def parts(words: str) -> list[str]:
    """The change in words, one part to a line."""
    return [part.strip(" .")[:1].upper() + part.strip(" .")[1:] for part in words.split("; ")]


def _rows(controls: list[Control], request: StaffRequest, wrong: dict[str, str]) -> list[dict[str, Any]]:
    return [
        {
            "control": one,
            "id": one.name.replace(".", "-"),
            "value": request.GET.get(one.name, shown(one.base)),
            "wrong": wrong.get(one.name, ""),
        }
        for one in controls
    ]


def _query(asked: dict[str, float]) -> str:
    return "&".join(f"{name}={value:g}" for name, value in asked.items())
