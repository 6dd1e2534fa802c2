"""Unwanted events, closing a visit, its report; what the clinic does about unwanted events."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.courses.finding import visit_or_404
from evenfield.clinic.courses.forms import VisitReasonForm
from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.courses.visits import VisitError
from evenfield.clinic.visits.closing import close, keep_report, keep_unwanted
from evenfield.clinic.visits.forms import ClosingForm, NextStepsForm, ReportedForm, UnwantedForm
from evenfield.clinic.visits.models import NextSteps
from evenfield.clinic.visits.reporting import estimate_of, page_lines, pdf, picture
from evenfield.clinic.visits.running import Running, running
from evenfield.clinic.visits.summary import closing, reported, summary, unwanted
from evenfield.clinic.visits.taking_back import never_on, take_back
from evenfield.conduct.adverse import default_adverse_events
from evenfield.conduct.state import State


def _begun(number: int) -> tuple[Visit, Running]:
    visit = visit_or_404(number)
    try:
        return visit, running(visit)
    except VisitError:
        raise Http404 from None


def _last_look(state: State) -> dict[str, object]:
    """What was entered about the skin after the stop, to be confirmed and not asked twice."""
    look, stop = state.look, state.stopped
    if look is None or stop is None or look.at_s < stop.at_s or look.redness is None:
        return {}
    return {"redness": str(look.redness), "broken": look.broken}


@requires("visits.enter")
def close_visit(request: StaffRequest, number: int) -> HttpResponse:
    """End the visit: skin looked at, the client's words, what is for next time."""
    visit, run = _begun(number)
    if visit.state == VisitState.DONE:
        return redirect("visit-report", number=number)
    state = run.advice(None).state
    form = ClosingForm(request.POST or None, initial=_last_look(state))
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data | {"redness": int(form.cleaned_data["redness"])}
        try:
            close(visit, **said)
        except VisitError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "The visit is closed.")
            return redirect("visit-report", number=number)
    context = {
        "visit": visit,
        "person": visit.person.kept,
        "form": form,
        "lines": summary(run).lines,
        "stopped": state.stopped is not None,
        "never_on": never_on(run),
        "unwanted": [(row, reported(run, row)) for row in unwanted(run)],
    }
    return render(request, "visits/close.html", context)


@requires("visits.enter")
def take_back_visit(request: StaffRequest, number: int) -> HttpResponse:
    """A visit begun by mistake is planned again, with a reason, if the field was never on."""
    visit = visit_or_404(number)
    if visit.state != VisitState.RUNNING:
        return redirect("visit", number=number)
    form = VisitReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            take_back(visit, form.cleaned_data["reason"])
        except VisitError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "Taken back: the visit is planned again.")
            return redirect("visit", number=number)
    context = {"visit": visit, "person": visit.person.kept, "form": form, "may": never_on(running(visit))}
    return render(request, "visits/take_back.html", context)


@requires("visits.enter")
def unwanted_event(request: StaffRequest, number: int) -> HttpResponse:
    """Grade an unwanted event by the public scale; during the visit or after it."""
    visit, _run = _begun(number)
    form = UnwantedForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        entry = keep_unwanted(visit, **form.cleaned_data)
        steps = entry.content["steps"] if entry else ""
        messages.success(request, "Kept.")
        if steps:
            messages.warning(request, f"As your clinic wrote it: {steps}")
        else:
            messages.warning(
                request, "The clinic has written no steps for this grade; ask the lead clinician."
            )
        return redirect("visit-report" if visit.state == VisitState.DONE else "close-visit", number=number)
    context = {"visit": visit, "form": form, "scale": default_adverse_events()}
    return render(request, "visits/unwanted.html", context)


@requires("visits.enter")
def event_reported(request: StaffRequest, number: int) -> HttpResponse:
    """To whom an unwanted event was reported, when that was not yet known as it was entered."""
    visit, run = _begun(number)
    rows = unwanted(run)
    form = ReportedForm(request.POST or None, rows=rows, initial={"of": request.GET.get("of", "")})
    if request.method == "POST" and form.is_valid():
        keep_report(visit, **form.cleaned_data)
        messages.success(request, "Kept.")
        return redirect("visit-report" if visit.state == VisitState.DONE else "close-visit", number=number)
    context = {"visit": visit, "form": form, "unwanted": [(row, reported(run, row)) for row in rows]}
    return render(request, "visits/reported.html", context)


@requires("visits.steps")
def next_steps(request: StaffRequest) -> HttpResponse:
    """What to do about an unwanted event of each grade, in the clinic's own words."""
    form = NextStepsForm(request.POST or None, instance=NextSteps.present())
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("next-steps")
    return render(request, "visits/steps.html", {"form": form, "scale": default_adverse_events()})


@requires("visits.view")
@require_safe
def visit_report(request: StaffRequest, number: int) -> HttpResponse:
    """What happened, in numbers and a picture."""
    visit, run = _begun(number)
    trail.record(Action.READ, kind="visits.visitentry", object_id=visit.pk, subject_id=visit.subject_id())
    following = visit.course.visits.filter(state=VisitState.PLANNED).order_by("planned_start").first()
    context = {
        "visit": visit,
        "person": visit.person.kept,
        "summary": summary(run),
        "closing": closing(run),
        "unwanted": [(row, reported(run, row)) for row in unwanted(run)],
        "entries": page_lines(run),
        "estimate": estimate_of(run),
        "next": following,
    }
    return render(request, "visits/report.html", context)


@requires("visits.view")
@require_safe
def visit_picture(request: StaffRequest, number: int) -> HttpResponse:
    """The curve of the visit as SVG."""
    _visit, run = _begun(number)
    return HttpResponse(picture(run), content_type="image/svg+xml")


@requires("visits.view")
@require_safe
def visit_report_pdf(request: StaffRequest, number: int) -> HttpResponse:
    """The report to print or hand over."""
    visit, run = _begun(number)
    trail.record(Action.PRINT, kind="visits.visitentry", object_id=visit.pk, subject_id=visit.subject_id())
    answer = HttpResponse(pdf(run, request.clinic.name), content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="visit-{visit.person.code}-{visit.number}.pdf"'
    return answer
