"""The invented clinic of `evenfield serve --demo`: each part adds its share."""

import zoneinfo

from django.db import transaction
from django.utils import timezone

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.actor import acting
from evenfield.clinic.audit.invented import DEMONSTRATION
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.parts import clinic_parts

_FIRST = ("accounts", "pages", "people", "devices", "courses")  # what was entered belongs to visits


def make_demonstration() -> None:
    """Fill an empty record; does nothing if it was filled before."""
    if Account.objects.exists():
        return
    with transaction.atomic(), acting(DEMONSTRATION):
        for part in sorted(clinic_parts(), key=lambda part: part.label not in _FIRST):
            zone = zoneinfo.ZoneInfo(Clinic.present().time_zone)  # of the invented clinic, once it is made
            with timezone.override(zone):
                part.make_demonstration()
