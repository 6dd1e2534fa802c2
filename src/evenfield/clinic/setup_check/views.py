"""The checklist before a visit, line by line."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.parts import person_ways
from evenfield.clinic.people.views import present_person
from evenfield.clinic.setup_check.runs import begin, planned_regions, runs_of, tick
from evenfield.clinic.whole_numbers import whole_number
from evenfield.conduct.setup import SetupError, default_checklist

_SHOWN = 10  # earlier set-ups on the page
_LONGEST_REASON = 500


@requires("setup.view")
def setup_check(request: StaffRequest, code: str) -> HttpResponse:
    """The present set-up in working order, and the earlier ones."""
    one = present_person(code)
    trail.record(Action.READ, kind="setup_check.setupentry", subject_id=one.pk)
    people = one.one_person()
    every = runs_of(people, _SHOWN + 1)
    present = every[0] if every and every[0].is_present() else None
    context: dict[str, object] = {
        "person": one,
        "checklist": default_checklist(),
        "ways": person_ways(request.user, people),
        "regions": planned_regions(people),
        "earlier": [run for run in every if run is not present][:_SHOWN],
    }
    if present:
        ready = present.ready()
        context |= {
            "run": present,
            "steps": present.steps(),
            "ready": ready,
            "next": next(iter(ready.open), None),
        }
    return render(request, "setup_check/checklist.html", context)


@requires("setup.tick")
@require_POST
def begin_setup(request: StaffRequest, code: str) -> HttpResponse:
    """Begin anew, with every line open, for one of the regions for which visits are planned."""
    one = present_person(code)
    regions, region = planned_regions(one.one_person()), request.POST.get("region", "")
    if len(regions) > 1 and region not in regions:
        messages.error(request, f"Say for which region: {' or '.join(regions)}.")
    else:
        begin(one, region if region in regions else next(iter(regions), ""))
    return redirect("setup-check", code=one.code)


@requires("setup.tick")
@require_POST
def tick_line(request: StaffRequest, code: str) -> HttpResponse:
    """One line done, or skipped with a reason."""
    one = present_person(code)
    line, run = request.POST.get("line", ""), request.POST.get("run", "")
    address = reverse("setup-check", kwargs={"code": one.code})
    try:
        tick(
            one,
            whole_number(run) or 0,
            line,
            done=request.POST.get("how") == "done",
            reason=request.POST.get("reason", "")[:_LONGEST_REASON],
        )
    except SetupError as error:
        messages.error(request, f"{str(error)[:1].upper()}{str(error)[1:]}.")
        return redirect(address)
    return redirect(f"{address}#next")
