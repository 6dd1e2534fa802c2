"""The address a calendar program reads without signing in: made, looked up, ended."""

import hashlib
import secrets
from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.courses.calendar_days import counted_between
from evenfield.clinic.courses.calendar_file import CalendarLine, calendar_lines
from evenfield.clinic.courses.models import CalendarAddress

_PAST, _AHEAD = timedelta(days=30), timedelta(days=366)


def make_address(account: Account, *, whole_clinic: bool) -> str:
    """A new token, in place of any earlier one; only its digest is kept."""
    token = secrets.token_urlsafe(32)
    with transaction.atomic():
        end_address(account)
        CalendarAddress(account=account, digest=_digest(token), whole_clinic=whole_clinic).save()
    return token


def end_address(account: Account) -> None:
    """The address answers no longer."""
    for held in CalendarAddress.objects.filter(account=account):
        held.delete()


def address_of_token(token: str) -> CalendarAddress | None:
    """Whose address this is; None if it was ended or its holder may no longer see visits."""
    found = CalendarAddress.objects.select_related("account").filter(digest=_digest(token)).first()
    if not isinstance(found, CalendarAddress) or not found.account.has_perm("courses.view"):
        return None
    return found


def visits_for(address: CalendarAddress) -> list[CalendarLine]:
    """The last month and the coming year; only the holder's own unless they chose all."""
    today = timezone.localdate()
    whose = None if address.whole_clinic else address.account
    return calendar_lines(counted_between(today - _PAST, today + _AHEAD, whose))


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
