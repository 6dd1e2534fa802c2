"""Set-ups begun and lines ticked; only ever added."""

from django.db import models

from evenfield.clinic.audit.kept import KeptContent, KeptRow


class Kind(models.TextChoices):
    """What an entry is."""

    BEGIN = "begin", "set-up begun"
    TICK = "tick", "line ticked"


class SetupEntry(KeptRow):
    """The beginning of a set-up, or one line of it done or skipped."""

    class Meta:
        verbose_name = "set-up"


class SetupContent(KeptContent):
    """What an entry says."""

    row = models.OneToOneField(SetupEntry, on_delete=models.PROTECT, primary_key=True, related_name="kept")


SetupEntry.content_model = SetupContent
