"""What a computation is told beside the case: the clinic's limits and the device."""

from typing import Any

from evenfield.clinic.own_files import skin_limit_c
from evenfield.clinic.planning import jobs
from evenfield.clinic.planning.models import Job, JobKind, Plan

LEAST_GAP_MM = 6.0
"""Where the manual's limit is not entered (label A, as in `tolerance.search.Wish`)."""


def order_for(plan: Plan, kind: JobKind) -> Job:
    """Put a computation in the queue. Raises ProfileError where the clinic's skin limit cannot be read."""
    return jobs.order(plan, kind, _asked(plan, kind))


def _asked(plan: Plan, kind: JobKind) -> dict[str, Any]:
    if kind in (JobKind.SURENESS, JobKind.ADVICE):
        gap = plan.device.gap_least_mm if plan.device else None
        return {"skin_limit_c": skin_limit_c(), "least_gap_mm": gap or LEAST_GAP_MM}
    if kind is JobKind.FORECAST and plan.device and plan.device.profile.strip():
        return {"device": str(plan.device), "profile": plan.device.profile}
    return {}
