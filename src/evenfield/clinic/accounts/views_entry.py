"""Getting in: signing in and out, the locked screen, the first run, setting a password with a code."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.hashers import check_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from evenfield.clinic.access import Role, holds_secrets, open_to_all, signed_in
from evenfield.clinic.accounts import codes, signing_in, throttle
from evenfield.clinic.accounts.forms import CodeForm, FirstRunForm, SignInForm, UnlockForm
from evenfield.clinic.accounts.middleware import NOT_SENT, PENDING, StaffRequest, lock, wants_json
from evenfield.clinic.accounts.models import Account, DeviceSession
from evenfield.clinic.accounts.passwords import check_password_choice
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.actor import acting
from evenfield.clinic.audit.models import Action
from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.parts import close_doors


def _onward(request: HttpRequest) -> str:
    """The path of this site to which the request asks to be led on, else the first page."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    fits = wanted.startswith("/") and url_has_allowed_host_and_scheme(
        wanted, {request.get_host()}, require_https=request.is_secure()
    )
    return wanted if fits else reverse("home")


@open_to_all
@holds_secrets
def sign_in(request: HttpRequest) -> HttpResponse:
    """User name, password and, where used, a one-time code."""
    if not Account.objects.exists():
        return redirect("first-run")
    if getattr(request, "device", None) is not None:
        return HttpResponseRedirect(_onward(request))
    form = SignInForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            account = signing_in.sign_in(request, **form.cleaned_data)
        except signing_in.SignInRefusedError as refusal:
            form.add_error(None, str(refusal))
        else:
            answer = HttpResponseRedirect(_onward(request))
            throttle.remember_browser(request, answer, account)
            return answer
    return render(request, "accounts/sign_in.html", {"form": form, "next": _onward(request)})


@signed_in(while_locked=True)
@require_POST
def sign_out(request: StaffRequest) -> HttpResponse:
    """End this browser's session, also from the locked screen."""
    signing_in.sign_out(request, request.device)
    answer = redirect("sign-in")
    # Not "storage": entries of a running visit that the server has not yet confirmed are kept there.
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


@signed_in(activity=True)
@require_POST
def touch(request: StaffRequest) -> HttpResponse:
    """Someone is typing or tapping on the page; keeps the screen from locking."""
    return HttpResponse(status=204)


@signed_in(activity=False, while_locked=True)
@require_POST
def lock_now(request: StaffRequest) -> HttpResponse:
    """Lock this screen."""
    if not request.device.locked:
        lock(request.device)
    return HttpResponse(status=204) if wants_json(request) else redirect("locked")


@signed_in(activity=False, while_locked=True)
@holds_secrets
def locked(request: StaffRequest) -> HttpResponse:
    """The locked screen: the PIN or the password leads back to where one was."""
    device = request.device
    if not device.locked:
        return (
            JsonResponse({"locked": False}) if wants_json(request) else HttpResponseRedirect(_onward(request))
        )
    form = UnlockForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        left = _try_unlock(request.user, device, form.cleaned_data["secret"])
        if left is None:
            if wants_json(request):
                return JsonResponse({"locked": False})
            if words := request.session.pop(NOT_SENT, ""):
                messages.warning(request, words)
                return HttpResponseRedirect(_onward(request))
            return HttpResponseRedirect(reverse("resume") if PENDING in request.session else _onward(request))
        if left == 0:
            signing_in.sign_out(request, device)
            messages.warning(request, "Too many wrong tries: this device was signed out.")
            return (
                JsonResponse({"signed_in": False}, status=401) if wants_json(request) else redirect("sign-in")
            )
        form.add_error("secret", f"This did not match. Tries left: {left}.")
        if wants_json(request):
            return JsonResponse({"locked": True, "left": left}, status=423)
    return render(request, "accounts/locked.html", {"form": form, "next": _onward(request)})


def _try_unlock(account: Account, device: DeviceSession, secret: str) -> int | None:
    """None if the secret opens the screen, else how many tries are left. Counted before it is looked at."""
    with transaction.atomic():
        held = DeviceSession.objects.select_for_update().get(pk=device.pk)
        held.wrong_pins += 1
        held.save(update_fields=["wrong_pins"])
    if held.wrong_pins <= DeviceSession.PIN_TRIES and (
        (account.pin and check_password(secret, account.pin)) or check_password(secret, account.password)
    ):
        with transaction.atomic():
            device.locked, device.wrong_pins, device.last_active = False, 0, timezone.now()
            device.save(update_fields=["locked", "wrong_pins", "last_active"])
            trail.record(Action.UNLOCK, kind="accounts.devicesession", object_id=device.pk)
        return None
    trail.record(Action.SIGN_IN_FAILED, kind="accounts.devicesession", object_id=device.pk, note="wrong PIN")
    return max(DeviceSession.PIN_TRIES - held.wrong_pins, 0)


@signed_in()
def resume(request: StaffRequest) -> HttpResponse:
    """What was sent from a page while the screen was locked, ready to be sent again; kept until it is sent
    or, with a POST to here, declined."""
    pending: dict[str, str] | None = request.session.get(PENDING)
    if pending is None:
        return redirect("home")
    if request.method == "POST":
        del request.session[PENDING]
        return redirect("home")
    sent = QueryDict(pending["sent"])
    fields = [
        (name, value) for name, values in sent.lists() for value in values if name != "csrfmiddlewaretoken"
    ]
    return render(request, "accounts/resume.html", {"path": pending["path"], "fields": fields})


@open_to_all
@holds_secrets
def first_run(request: HttpRequest) -> HttpResponse:
    """Create the owner's account with the code printed in the terminal; gone once there is an account."""
    if Account.objects.exists():
        return redirect("sign-in")
    account = Account()
    clinic: Clinic = request.clinic  # type: ignore[attr-defined]
    # UTC is what a server says that was never told where it stands: better asked for than taken over unseen.
    zone = "" if clinic.time_zone == "UTC" else clinic.time_zone
    initial = {"time_zone": zone, "locale": clinic.locale, "also": [Role.OPERATOR]}
    form = FirstRunForm(request.POST or None, account=account, initial=initial)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        if codes.try_first_run(given["code"]):
            _found_clinic(request, account, given)
            return redirect("home")
        form.add_error(
            "code", "This is not the code. After ten wrong tries, start the server anew for another one."
        )
    return render(request, "accounts/first_run.html", {"form": form})


def _found_clinic(request: HttpRequest, account: Account, given: dict[str, Any]) -> None:
    account.roles = frozenset({Role.OWNER, *(Role(word) for word in given["also"])})
    account.set_password(given["new_password"])
    clinic: Clinic = request.clinic  # type: ignore[attr-defined]
    clinic.name, clinic.time_zone, clinic.locale = given["clinic"], given["time_zone"], given["locale"]
    with transaction.atomic():
        account.save()
        with acting(account.actor(throttle.address_of(request))):
            clinic.save()
    codes.end_first_run()
    signing_in.open_device(request, account)


@open_to_all
@holds_secrets
def set_password(request: HttpRequest) -> HttpResponse:
    """Set a password with a one-time code, for new staff and after recovery; the second factor stays."""
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        given, now = form.cleaned_data, timezone.now()
        username = given["username"].strip().lower()
        source = f"code from {throttle.address_of(request)}"
        account = Account.objects.filter(username=username, is_active=True).first()
        until = throttle.refused_until(f"code {username}", source, now)
        if until is None:
            throttle.note_failure(f"code {username}", source, now)
        if until is not None or account is None or not codes.matches(account, given["code"]):
            form.add_error(None, "User name and code do not match, or the code is no longer valid.")
        else:
            try:
                check_password_choice(given["new_password"], account)
            except ValidationError as error:
                form.add_error("new_password", error)
            else:
                if codes.use_up(account):
                    _replace_password(request, account, given["new_password"])
                    return redirect("sign-in")
                form.add_error(None, "User name and code do not match, or the code is no longer valid.")
    return render(request, "accounts/set_password.html", {"form": form})


def _replace_password(request: HttpRequest, account: Account, password: str) -> None:
    account.set_password(password)
    with transaction.atomic(), acting(account.actor(throttle.address_of(request))):
        account.save()
        signing_in.end_devices(account)
        close_doors(account)
        throttle.forget_failures(f"code {account.username}")
        throttle.forget_failures(account.username)
    messages.success(request, "The password is set. Sign in with it.")
