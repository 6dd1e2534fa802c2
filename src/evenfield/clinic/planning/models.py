"""Versions of plans, and the computations made for them."""

from collections.abc import Mapping
from typing import ClassVar

from django.db import models

from evenfield.case import Case, case_from_toml
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.recorded import Recorded
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.devices.models import Device
from evenfield.clinic.people.models import Person


class Plan(Recorded):
    """One version of a plan: a checked case. It is never changed; a change makes another version.

    `case`: the case file's text. `sources`: where values in it came from, by the field's name. `summary`:
    what the forecast said in short, once it is computed. `saved`: when it was made the plan of its visit.
    """

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="plans")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="plans")
    device = models.ForeignKey(Device, on_delete=models.PROTECT, null=True, blank=True)
    region = models.CharField(max_length=20)
    side = models.CharField(max_length=5, blank=True)
    case = models.TextField()
    sources = models.JSONField(default=dict)
    summary = models.JSONField(default=dict)
    made = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        Account, on_delete=models.PROTECT, null=True, blank=True, related_name="plans_made"
    )
    saved = models.DateTimeField(null=True, blank=True)
    saved_by = models.ForeignKey(
        Account, on_delete=models.PROTECT, null=True, blank=True, related_name="plans_saved"
    )

    class Meta:
        ordering = ("-pk",)

    def __str__(self) -> str:
        return f"plan {self.pk}"

    def subject_id(self) -> int | None:
        """Whose plan it is."""
        return int(self.person_id)

    @property
    def region_words(self) -> str:
        """Side and region as written on the screen."""
        return f"{self.side} {self.region.replace('_', ' ')}".strip()

    def checked_case(self) -> Case:
        """The case for the engine. Raises CaseError where a newer version of the program refuses it."""
        return case_from_toml(self.case, str(self))


class JobKind(models.TextChoices):
    """What is computed."""

    FORECAST = "forecast", "forecast"
    PREVIEW = "preview", "preparing quick answers"
    FULL = "full", "full answer"
    PLACING = "placing", "errors of placing"
    SURENESS = "sureness", "how sure it is"
    ADVICE = "advice", "advice"


class JobState(models.TextChoices):
    """Where a computation stands."""

    WAITING = "waiting", "waiting for its turn"
    RUNNING = "running", "being computed"
    DONE = "done", "done"
    FAILED = "failed", "failed"
    CANCELLED = "cancelled", "cancelled"


STEPS: Mapping[str, str] = {
    "start": "getting ready",
    "field": "field in the body",
    "heat": "heat in time",
    "dose": "dose and hot spots",
    "assumed range": "assumed range of absorbed power",
    "figures": "pictures",
    "report": "report",
    "fields": "fields of other placements and bodies",
    "reduced heat": "short model of the heat",
    "answers": "check against full answers",
    "placements": "placements",
    "nominal": "the plan itself",
    "shapes": "how heat spreads",
    "members": "members of the ensemble",
    "check": "check against members computed in full",
    "drivers": "what the results hang on",
    "power levels": "power levels",
    "courses": "courses of power",
    "done": "going on",
}
"""The engine's steps in words."""
ACTIVE = (JobState.WAITING, JobState.RUNNING)


class Job(models.Model):
    """One computation for a plan. `asked` and `result` are plain data; larger results are files in
    `store.folder_of`. `alive`: when the server that runs it last said so."""

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="jobs")
    kind = models.CharField(max_length=10, choices=JobKind.choices)
    asked = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=JobState.choices, default=JobState.WAITING, db_index=True)
    step = models.CharField(max_length=40, blank=True)
    share = models.FloatField(default=0.0)
    words = models.CharField(max_length=400, blank=True)
    result = models.JSONField(default=dict)
    ordered = models.DateTimeField(auto_now_add=True)
    begun = models.DateTimeField(null=True)
    alive = models.DateTimeField(null=True)
    ended = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return f"{self.kind} of plan {self.plan_id}"

    @property
    def active(self) -> bool:
        """Whether it waits or runs."""
        return self.state in ACTIVE

    @property
    def step_words(self) -> str:
        """What is being done; that it waits."""
        if self.state == JobState.WAITING:
            return "waiting for its turn"
        return STEPS.get(self.step, self.step)
