"""Slowing down guesses without ever locking out the only practitioner.

Failures are counted per account and source. A source is a browser on which the account has signed in before
(it shows a token), or else a network address. After `FREE` failures each further one doubles the wait, up to
`LONGEST_WAIT`; a try made while waiting is refused without being looked at and does not lengthen the wait.
SP 800-63B-4 allows at most 100 consecutive failures: from there on unknown sources are refused for that
account until someone signs in from a known browser or runs the recovery command in the terminal. A known
browser has its own 100, so a stranger guessing away cannot keep the practitioner out of their own tablet.
"""

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.crypto import salted_hmac

from evenfield.clinic.accounts.models import Account, FailedTries, KnownDevice

FREE = 4
LONGEST_WAIT = timedelta(minutes=15)
LIMIT = 100
COOKIE = "evenfield_known"
_KNOWN = "known "
_COOKIE_AGE = 365 * 24 * 3600
_KEPT = timedelta(days=90)


def address_of(request: HttpRequest) -> str:
    """The network address a request came from."""
    return str(request.META.get("REMOTE_ADDR", ""))[:60]


def source_of(request: HttpRequest, username: str) -> str:
    """The source a try is counted under."""
    token = request.COOKIES.get(COOKIE, "")
    if token:
        device = KnownDevice.objects.filter(digest=_digest(token), account__username=username).first()
        if device:
            return f"{_KNOWN}{device.pk}"
    return f"address {address_of(request)}"


def wait_after(failures: int) -> timedelta:
    """How long to wait after this many consecutive failures."""
    if failures < FREE:
        return timedelta(0)
    return min(timedelta(seconds=2 ** min(failures - FREE, 20)), LONGEST_WAIT)


def refused_until(username: str, source: str, now: datetime) -> datetime | None:
    """When the next try is looked at; None if now; `datetime.max` if only recovery helps."""
    tries = FailedTries.objects.filter(target=_target(username), source=source).first()
    if source.startswith(_KNOWN):
        used = tries.count if tries else 0
    else:
        strangers = FailedTries.objects.filter(target=_target(username)).exclude(source__startswith=_KNOWN)
        used = strangers.aggregate(total=Sum("count"))["total"] or 0
    if used >= LIMIT:
        return datetime.max.replace(tzinfo=now.tzinfo)
    if tries is None:
        return None
    until = tries.last + wait_after(tries.count)
    return until if until > now else None


def note_failure(username: str, source: str, now: datetime) -> None:
    """Count one failed try, before the password is looked at, so that tries at once do not slip through."""
    with transaction.atomic():
        FailedTries.objects.filter(last__lt=now - _KEPT).delete()
        tries, _ = FailedTries.objects.select_for_update().get_or_create(
            target=_target(username), source=source, defaults={"last": now}
        )
        tries.count += 1
        tries.last = now
        tries.save()


def forget_failures(username: str, source: str | None = None) -> int:
    """Start counting anew after success from a source, or, without one, after recovery in the terminal.

    Success from a known browser clears everything; success from an unknown one leaves known browsers' counts.
    """
    tries = FailedTries.objects.filter(target=_target(username))
    if source and not source.startswith(_KNOWN):
        tries = tries.exclude(source__startswith=_KNOWN)
    return tries.delete()[0]


def remember_browser(request: HttpRequest, response: HttpResponse, account: Account) -> None:
    """Give the browser a token that shows next time that this account has signed in here before.

    One browser has one token for all accounts used on it; a token not handed out by this server is replaced.
    """
    now = timezone.now()
    KnownDevice.objects.filter(last_used__lt=now - timedelta(seconds=_COOKIE_AGE)).delete()
    token = request.COOKIES.get(COOKIE, "")
    if not token or not KnownDevice.objects.filter(digest=_digest(token)).exists():
        token = secrets.token_urlsafe(32)
    KnownDevice.objects.update_or_create(account=account, digest=_digest(token), defaults={"last_used": now})
    response.set_cookie(
        COOKIE, token, max_age=_COOKIE_AGE, httponly=True, samesite="Strict", secure=request.is_secure()
    )


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _target(username: str) -> str:
    return salted_hmac("evenfield.tries", username, algorithm="sha256").hexdigest()
