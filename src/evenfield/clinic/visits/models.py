"""What was entered during visits, only ever added; and what the clinic does about unwanted events."""

from collections.abc import Mapping
from typing import Any, ClassVar, Self

from django.db import models

from evenfield.clinic.audit.kept import KeptContent, KeptRow
from evenfield.clinic.audit.recorded import Recorded
from evenfield.clinic.courses.models import Visit


class Kind(models.TextChoices):
    """What an entry is, beside the kinds of `conduct.events`."""

    BEGIN = "begin", "visit begun"
    TAKEN_BACK = "taken_back", "beginning taken back"
    ADVERSE = "adverse", "unwanted event"
    REPORTED = "reported", "unwanted event reported"
    CLOSING = "closing", "visit closed"


class VisitEntry(KeptRow):
    """One entry of a visit.

    `entry_id` is the id its writer gave it: sent again, it is the same entry and not a second one.
    """

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="entries")
    entry_id = models.CharField(max_length=40, unique=True)

    class Meta:
        verbose_name = "entry of a visit"
        indexes: ClassVar = [models.Index(fields=["visit", "number"], name="visit_entries")]

    @classmethod
    def of(cls, visit: Visit, kind: str, name: str, content: Mapping[str, Any]) -> Self:
        """Add an entry of a visit under the id its writer gave it."""
        return cls.keep(kind, visit.course.person_id, content, visit_id=visit.pk, entry_id=name)


class VisitContent(KeptContent):
    """What an entry says."""

    row = models.OneToOneField(VisitEntry, on_delete=models.PROTECT, primary_key=True, related_name="kept")


VisitEntry.content_model = VisitContent


class NextSteps(Recorded):
    """What to do about an unwanted event, by its grade, in the clinic's own words; one row."""

    grade_1 = models.TextField("grade 1, mild", blank=True)
    grade_2 = models.TextField("grade 2, moderate", blank=True)
    grade_3 = models.TextField("grade 3, severe", blank=True)
    grade_4 = models.TextField("grade 4, life-threatening", blank=True)
    grade_5 = models.TextField("grade 5, death", blank=True)

    class Meta:
        verbose_name = "next steps"

    def __str__(self) -> str:
        return "next steps after an unwanted event"

    @classmethod
    def present(cls) -> "NextSteps":
        """What the clinic wrote; empty where it wrote nothing."""
        found = cls.objects.first()
        return found if isinstance(found, NextSteps) else cls()

    def for_grade(self, grade: int) -> str:
        """The steps of one grade; "" where none are written."""
        return str(getattr(self, f"grade_{grade}")).strip()
