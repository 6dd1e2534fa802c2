"""Sets of measurements and their corrections; only ever added."""

from django.db import models

from evenfield.clinic.audit.kept import KeptContent, KeptRow


class Kind(models.TextChoices):
    """What an entry is."""

    SET = "set", "measured"
    CORRECTION = "correction", "corrected"


class MeasureEntry(KeptRow):
    """One set of measurements, or the correction of one number of an earlier set."""

    class Meta:
        verbose_name = "measurement"


class MeasureContent(KeptContent):
    """What an entry says."""

    row = models.OneToOneField(MeasureEntry, on_delete=models.PROTECT, primary_key=True, related_name="kept")


MeasureEntry.content_model = MeasureContent
