"""What every template knows: the clinic, the menu, whether this is a demonstration."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.parts import clinic_parts

FOR_THE_CLINIC = 60
"""Menu entries from this place on are for running the clinic rather than for a day's work: folded away."""


def page(request: HttpRequest) -> dict[str, Any]:
    """Context processor of all pages."""
    user = getattr(request, "user", None)
    account = user if isinstance(user, Account) else None
    menu = [
        entry
        for part in clinic_parts()
        for entry in part.menu
        if account and (not entry.permission or account.has_perm(entry.permission))
    ]
    ordered = sorted(menu, key=lambda entry: entry.place)
    return {
        "clinic": getattr(request, "clinic", None),
        "account": account,
        "device": getattr(request, "device", None),
        "menu": [entry for entry in ordered if entry.place < FOR_THE_CLINIC],
        "clinic_menu": [entry for entry in ordered if entry.place >= FOR_THE_CLINIC],
        "demonstration": settings.EVENFIELD_DEMONSTRATION,
    }
