"""Starting, watching and cancelling computations."""

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.planning import jobs
from evenfield.clinic.planning.finding import plan_or_404
from evenfield.clinic.planning.models import Job, JobKind
from evenfield.clinic.planning.ordering import order_for
from evenfield.conduct.profile import ProfileError

PAGES = {
    JobKind.FORECAST: "plan",
    JobKind.PREVIEW: "what-if",
    JobKind.FULL: "what-if",
    JobKind.PLACING: "plan-placing",
    JobKind.SURENESS: "plan-sureness",
    JobKind.ADVICE: "plan-advice",
}


@requires("planning.use")
@require_POST
def start(request: StaffRequest, number: int) -> HttpResponse:
    """Put one computation into the queue."""
    plan = plan_or_404(number)
    kind = request.POST.get("kind", "")
    if kind not in JobKind.values or kind == JobKind.FULL:
        messages.error(request, "There is nothing of that kind to compute.")
        return redirect("plan", number=plan.pk)
    try:
        order_for(plan, JobKind(kind))
    except ProfileError as error:
        messages.error(request, str(error))
    return redirect(PAGES[JobKind(kind)], number=plan.pk)


@requires("planning.use", activity=False)
def look(request: StaffRequest, number: int) -> JsonResponse:
    """Where a computation stands; the page asks by itself."""
    jobs.note_gone()
    job = _job(number)
    if job.active:
        jobs.wake()
    return JsonResponse(
        {
            "state": job.state,
            "active": job.active,
            "step": job.step_words,
            "percent": round(100 * job.share),
            "words": job.words,
        }
    )


@requires("planning.use")
@require_POST
def cancel(request: StaffRequest, number: int) -> HttpResponse:
    """Cancel a computation."""
    job = _job(number)
    if jobs.cancel(job):
        messages.success(request, "Cancelled.")
    else:
        messages.warning(request, f"It was already {job.get_state_display()}.")
    return redirect(PAGES[JobKind(job.kind)], number=job.plan_id)


def _job(number: int) -> Job:
    found = get_object_or_404(
        Job.objects.select_related("plan"), pk=number, plan__person__erased__isnull=True
    )
    assert isinstance(found, Job)
    return found
