"""Handing over all that is held about one person, and erasing it."""

import io
import json
import zipfile
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction
from django.utils import timezone

from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.parts import clinic_parts
from evenfield.clinic.people.models import Person

_READ_ME = """All that {clinic} holds about one person, taken from its record on {day} (UTC).

Each part of the record is a folder with `record.json` (UTF-8 JSON, times in UTC) and the files it names.
"trail" says who looked at or changed the record, when, by the role held.
"""


class EraseError(Exception):
    """This person cannot be erased; the message is one clear sentence."""


class EraseReason(models.TextChoices):
    """Why someone is erased; kept in the trail, so not free text."""

    ASKED = "asked", "the person asked for it"
    PERIOD = "period", "the period for keeping it is over"
    MISTAKE = "mistake", "it was entered by mistake"


def export_zip(person: Person, clinic_name: str) -> bytes:
    """One ZIP archive of everything; recorded in the trail."""
    people = person.one_person()
    buffer = io.BytesIO()
    with transaction.atomic(), zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("README.txt", _READ_ME.format(clinic=clinic_name, day=timezone.now().date()))
        for part in clinic_parts():
            holding = part.export_person(people)
            if holding is not None:
                archive.writestr(f"{part.label}/record.json", _json(holding.data))
                for name, content in holding.files.items():
                    archive.writestr(f"{part.label}/{name}", content)
        trail.record(Action.EXPORT, kind="people.person", object_id=person.pk, subject_id=person.pk)
    return buffer.getvalue()


def erase(person: Person, reason: EraseReason) -> None:
    """Remove all content about this person from every part; number, code and the trail's entries stay.

    Raises EraseError if a record is kept for a legal reason.
    """
    people = person.one_person()
    if any(one.hold_reason for one in people):
        raise EraseError(
            "This record is kept for a legal reason; clear that field first if it no longer holds."
        )
    with transaction.atomic():
        for one in people:
            trail.record(
                Action.ERASE, kind="people.person", object_id=one.pk, subject_id=one.pk, note=reason.label
            )
        for part in clinic_parts():
            part.erase_person(people)
        for one in people:
            trail.forget_details(one.pk)


def _json(data: Any) -> str:
    return json.dumps(data, cls=DjangoJSONEncoder, ensure_ascii=False, indent=2) + "\n"
