"""Photographs taken and withdrawn; only ever added. The pictures lie beside the database, see `store`."""

import hashlib
from collections.abc import Iterator
from typing import Any

from django.db import models

from evenfield.clinic.audit.kept import KeptContent, KeptRow
from evenfield.clinic.photographs import store


class Kind(models.TextChoices):
    """What an entry is."""

    PHOTOGRAPH = "photograph", "photograph taken"
    WITHDRAWAL = "withdrawal", "photograph withdrawn"


class PhotoEntry(KeptRow):
    """One photograph with how it was taken, or its withdrawal."""

    class Meta:
        verbose_name = "photograph"

    @classmethod
    def broken_links(cls) -> Iterator[str]:
        """As of every chain, and every picture that is missing or was changed on the disk."""
        yield from super().broken_links()
        every: Any = cls._default_manager
        rows = every.filter(kind=Kind.PHOTOGRAPH, kept__isnull=False).order_by("number")
        for row in rows.select_related("kept").iterator(chunk_size=500):
            try:
                found = hashlib.sha256(store.path_of(row.content["file"]).read_bytes()).hexdigest()
            except OSError:
                yield f"photographs: the picture of entry {row.number} is missing from the disk."
            else:
                if found != row.content["sha256"]:
                    yield f"photographs: the picture of entry {row.number} was changed on the disk."


class PhotoContent(KeptContent):
    """What an entry says."""

    row = models.OneToOneField(PhotoEntry, on_delete=models.PROTECT, primary_key=True, related_name="kept")


PhotoEntry.content_model = PhotoContent
