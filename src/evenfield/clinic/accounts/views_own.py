"""One's own account: password, PIN, one-time codes, devices."""

import segno
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_POST

from evenfield.clinic.access import holds_secrets, signed_in
from evenfield.clinic.accounts import codes, signing_in, totp
from evenfield.clinic.accounts.forms import ChangePasswordForm, PinForm, StartCodesForm, StopCodesForm
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.accounts.models import DeviceSession, RecoveryCode
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.parts import close_doors, open_doors

_OFFERED = "offered secret"


@signed_in()
def own(request: StaffRequest) -> HttpResponse:
    """What one can change about one's own account, and the devices signed in."""
    now = timezone.now()
    devices = [
        d for d in DeviceSession.objects.filter(account=request.user, ended__isnull=True) if d.runs(now)
    ]
    return render(
        request,
        "accounts/own.html",
        {"devices": devices, "recovery_codes": RecoveryCode.objects.filter(account=request.user).count()},
    )


@signed_in()
@require_POST
def end_device(request: StaffRequest, number: int) -> HttpResponse:
    """End one of one's own device sessions."""
    device = get_object_or_404(DeviceSession, pk=number, account=request.user, ended__isnull=True)
    if device.pk == request.device.pk:
        signing_in.sign_out(request, device)
        return redirect("sign-in")
    with transaction.atomic():
        device.end()
        trail.record(
            Action.SIGN_OUT, kind="accounts.devicesession", object_id=device.pk, note="ended from elsewhere"
        )
    messages.success(request, "That device is signed out.")
    return redirect("own")


@signed_in()
@holds_secrets
def change_password(request: StaffRequest) -> HttpResponse:
    """A new password; other devices are signed out, tokens and the calendar address end unless kept."""
    doors = open_doors(request.user)
    form = ChangePasswordForm(request.POST or None, account=request.user, doors=doors)
    if request.method == "POST" and form.is_valid():
        request.user.set_password(form.cleaned_data["new_password"])
        with transaction.atomic():
            request.user.save()
            signing_in.end_devices(request.user, but=request.device)
            closed = [] if form.cleaned_data.get("keep_doors") else close_doors(request.user)
        update_session_auth_hash(request, request.user)
        ended = f" Ended: {'; '.join(closed)}." if closed else ""
        messages.success(request, f"The password is changed. Your other devices are signed out.{ended}")
        return redirect("own")
    return render(request, "accounts/form.html", {"form": form, "title": "Change password", "back": "own"})


@signed_in()
@holds_secrets
def change_pin(request: StaffRequest) -> HttpResponse:
    """A PIN for the locked screen."""
    form = PinForm(request.POST or None, account=request.user)
    if request.method == "POST" and form.is_valid():
        request.user.pin = make_password(form.cleaned_data["pin"])
        request.user.save()
        messages.success(request, "The PIN is set.")
        return redirect("own")
    return render(
        request, "accounts/form.html", {"form": form, "title": "PIN for the locked screen", "back": "own"}
    )


@signed_in()
@holds_secrets
def start_codes(request: StaffRequest) -> HttpResponse:
    """Set up one-time codes: scan, confirm, write down the recovery codes."""
    if request.user.second_factor:
        return redirect("own")
    form = StartCodesForm(request.POST or None, account=request.user)
    secret = request.session.setdefault(_OFFERED, totp.new_secret())
    if request.method == "POST" and form.is_valid():
        if totp.accept(request.user, secret, form.cleaned_data["code"]):
            request.user.totp_secret = secret
            with transaction.atomic():
                request.user.save()
                recovery = codes.new_recovery_codes(request.user)
            del request.session[_OFFERED]
            return render(request, "accounts/recovery_codes.html", {"codes": recovery})
        form.add_error(
            "code", "This is not the present code; check the clock of the device and try the next one."
        )
    picture = segno.make(totp.address(request.user, secret), error="m").svg_inline(scale=5, border=4)
    # The picture is drawn from our own text and holds nothing anyone typed unescaped.
    return render(
        request, "accounts/start_codes.html", {"form": form, "secret": secret, "picture": mark_safe(picture)}
    )


@signed_in()
@holds_secrets
def stop_codes(request: StaffRequest) -> HttpResponse:
    """Stop using one-time codes."""
    form = StopCodesForm(request.POST or None, account=request.user)
    if request.method == "POST" and form.is_valid():
        request.user.totp_secret = ""
        with transaction.atomic():
            request.user.save()
            RecoveryCode.objects.filter(account=request.user).delete()
        messages.success(request, "One-time codes are off.")
        return redirect("own")
    return render(
        request, "accounts/form.html", {"form": form, "title": "Stop one-time codes", "back": "own"}
    )
