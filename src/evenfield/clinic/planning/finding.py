"""Plans and their newest computations, by number."""

from django.http import Http404
from django.shortcuts import get_object_or_404

from evenfield.clinic.planning import jobs
from evenfield.clinic.planning.models import Job, JobKind, JobState, Plan


def plan_or_404(number: int) -> Plan:
    """The plan of a number, of someone who was not erased."""
    wanted = Plan.objects.select_related(
        "person__merged_into", "visit__course", "device", "made_by", "saved_by"
    )
    found = get_object_or_404(wanted, pk=number, person__erased__isnull=True)
    assert isinstance(found, Plan)
    if not found.case:
        raise Http404
    return found


def newest(plan: Plan, kind: JobKind) -> Job | None:
    """The newest computation of a kind; wakes the queue if it is not over."""
    jobs.note_gone()
    job = plan.jobs.filter(kind=kind).last()
    if job is not None and job.active:
        jobs.wake()
    return job if isinstance(job, Job) else None


def done(plan: Plan, kind: JobKind) -> Job | None:
    """The newest computation of a kind that came to its end."""
    job = plan.jobs.filter(kind=kind, state=JobState.DONE).last()
    return job if isinstance(job, Job) else None
