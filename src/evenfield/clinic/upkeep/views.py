"""The page that tells how backups are made."""

from pathlib import Path

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.upkeep.doctor import backup_words


@requires("upkeep.backup")
def backup(request: StaffRequest) -> HttpResponse:
    """When the last good backup was made, and how to make and keep one."""
    home = Path(settings.EVENFIELD_HOME)
    young, words = backup_words(home, timezone.now())
    return render(request, "upkeep/backup.html", {"young": young, "words": words, "home": home})
