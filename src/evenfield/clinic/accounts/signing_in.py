"""Signing in and out, with the device session and the trail."""

from datetime import datetime

from django.contrib.auth import authenticate, login, logout
from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone

from evenfield.clinic.accounts import throttle
from evenfield.clinic.accounts.models import Account, DeviceSession
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.models import Action

SESSION_KEY = "device"


class SignInRefusedError(Exception):
    """Signing in did not succeed; the message is for the screen and does not tell which part was wrong."""


def sign_in(request: HttpRequest, username: str, password: str, code: str) -> Account:
    """Check and sign in. Raises SignInRefusedError."""
    username, now = username.strip().lower(), timezone.now()
    source = throttle.source_of(request, username)
    until = throttle.refused_until(username, source, now)
    if until is not None:
        _note_failure(request, username, "too many tries, not looked at")
        raise SignInRefusedError(_wait_words(until, now))
    throttle.note_failure(username, source, now)
    account = authenticate(request, username=username, password=password, code=code)
    if not isinstance(account, Account):
        _note_failure(request, username, "wrong name, password or code")
        raise SignInRefusedError(
            "This did not match. Check the user name, the password and, if you use them, the present code."
        )
    throttle.forget_failures(username, source)
    open_device(request, account)
    return account


def open_device(request: HttpRequest, account: Account) -> DeviceSession:
    """Start a device session for an account that has just shown who it is."""
    now = timezone.now()
    with transaction.atomic():
        device = DeviceSession.objects.create(
            account=account,
            browser=browser_words(request.headers.get("User-Agent", "")),
            address=throttle.address_of(request),
            started=now,
            last_active=now,
        )
        with acting(account.actor(device.address, device.pk)):
            trail.record(Action.SIGN_IN, kind="accounts.account", object_id=account.pk)
    login(request, account, backend="evenfield.clinic.accounts.backend.AccountBackend")
    request.session[SESSION_KEY] = device.pk
    return device


def sign_out(request: HttpRequest, device: DeviceSession | None) -> None:
    """End this browser's session."""
    if device is not None:
        with transaction.atomic():
            device.end()
            trail.record(Action.SIGN_OUT, kind="accounts.account", object_id=device.account_id)
    logout(request)


def end_devices(account: Account, but: DeviceSession | None = None) -> int:
    """End all device sessions of an account, except possibly one; returns how many."""
    open_ones = DeviceSession.objects.filter(account=account, ended__isnull=True)
    return (open_ones.exclude(pk=but.pk) if but else open_ones).update(ended=timezone.now())


def browser_words(agent: str) -> str:
    """A browser and system in plain words, from the header a browser sends about itself."""
    browsers = (("Edg/", "Edge"), ("Firefox/", "Firefox"), ("Chrome/", "Chrome"), ("Safari/", "Safari"))
    systems = (
        ("iPad", "iPad"),
        ("iPhone", "iPhone"),
        ("Android", "Android"),
        ("Windows", "Windows"),
        ("Mac OS X", "Mac"),
        ("Linux", "Linux"),
    )
    browser = next((words for mark, words in browsers if mark in agent), "another browser")
    system = next((words for mark, words in systems if mark in agent), "another system")
    return f"{browser} on {system}"


def _note_failure(request: HttpRequest, username: str, note: str) -> None:
    account = Account.objects.filter(username=username).first()
    who = account.username if account else "(unknown name)"
    with acting(Actor(who, account.pk if account else None, "", throttle.address_of(request))):
        trail.record(
            Action.SIGN_IN_FAILED, kind="accounts.account", object_id=account.pk if account else "", note=note
        )


def _wait_words(until: datetime, now: datetime) -> str:
    if until.year == datetime.max.year:
        return (
            "Too many failed tries. Sign in from a browser you have used before, "
            "or run `evenfield recover` in the terminal of the server."
        )
    seconds = int((until - now).total_seconds()) + 1
    return f"Too many failed tries in a row. Try again in {seconds} second{'' if seconds == 1 else 's'}."
