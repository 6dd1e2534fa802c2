"""What was asked, answered, decided and consented to; only ever added."""

from typing import ClassVar

from django.db import models

from evenfield.clinic.audit.chain import ChainedRow
from evenfield.clinic.audit.kept import KeptContent, KeptRow


class Kind(models.TextChoices):
    """What an entry is."""

    ANSWERS = "answers", "questions answered"
    DECISION = "decision", "lead clinician's decision"
    CONSENT = "consent", "consent signed"
    WITHDRAWAL = "withdrawal", "consent withdrawn"


class ScreeningEntry(KeptRow):
    """One set of answers, one decision of a lead clinician, one consent or its withdrawal."""

    class Meta:
        verbose_name = "screening"

    @property
    def words(self) -> str:
        """The kind in words."""
        return str(Kind(self.kind).label)

    @property
    def outcome_words(self) -> str:
        """What came of it, for a list."""
        content = self.content
        if self.kind == Kind.DECISION:
            return "go on" if content["go_on"] else "refuse"
        return str(content.get("outcome", ""))


class ScreeningContent(KeptContent):
    """What an entry says."""

    row = models.OneToOneField(
        ScreeningEntry, on_delete=models.PROTECT, primary_key=True, related_name="kept"
    )


ScreeningEntry.content_model = ScreeningContent


class ConsentText(ChainedRow):
    """A version of the clinic's own consent text; the last one is the one to sign."""

    actor = models.CharField(max_length=150)
    text = models.TextField()

    class Meta:
        verbose_name = "consent text"
        ordering: ClassVar = ("-number",)
