"""Upkeep as a part of the clinic: backup, restore, doctor, and the reminder to the owner."""

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import Role
from evenfield.clinic.parts import ClinicPart, HomeNote

if TYPE_CHECKING:
    from evenfield.clinic.accounts.models import Account


class UpkeepPart(ClinicPart):
    """What keeps the record from being lost."""

    name = "evenfield.clinic.upkeep"
    label = "upkeep"
    prefix = "upkeep/"
    grants: ClassVar = {"upkeep.backup": frozenset({Role.OWNER})}

    def home_notes(self, account: "Account") -> list[HomeNote]:
        """A reminder to the owner when the last good backup is old."""
        from django.conf import settings
        from django.urls import reverse
        from django.utils import timezone

        from evenfield.clinic.upkeep.doctor import backup_words

        if Role.OWNER not in account.roles:
            return []
        young, words = backup_words(Path(settings.EVENFIELD_HOME), timezone.now())
        if young:
            return []
        return [HomeNote("Backup", f"{words}; how to make one", reverse("backup"), pressing=True)]
