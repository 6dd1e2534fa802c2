"""One place decides whether a request is served: who asks, on which device, locked or not, allowed or not."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

from django.contrib.auth import logout
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from evenfield.clinic.access import rule_of
from evenfield.clinic.accounts import throttle
from evenfield.clinic.accounts.models import Account, DeviceSession
from evenfield.clinic.accounts.signing_in import SESSION_KEY
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.models import Action
from evenfield.clinic.pages.models import Clinic

_RESOLUTION = timedelta(seconds=15)
PENDING = "sent while locked"
NOT_SENT = "not kept while locked"
_PENDING_LIMIT = 200_000


class StaffRequest(HttpRequest):
    """A request as a view sees it after the middleware: signed in, on a known device, at a known clinic."""

    user: Account
    device: DeviceSession
    clinic: Clinic


def wants_json(request: HttpRequest) -> bool:
    """Whether one of the page's scripts asks, rather than someone opening a page."""
    return request.headers.get("X-Requested-With") == "evenfield" or (
        request.get_preferred_type(["text/html", "application/json"]) == "application/json"
    )


class AccessMiddleware:
    """Finds the device session, names the actor for the trail, and enforces the mark of the view."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Serve the request in the name of whoever makes it."""
        device = self._device(request)
        request.device = device  # type: ignore[attr-defined]
        address = throttle.address_of(request)
        user = request.user
        actor = (
            user.actor(address, device.pk)
            if device and isinstance(user, Account)
            else Actor("(nobody)", None, "", address)
        )
        with acting(actor):
            return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], _args: Any, _kwargs: Any
    ) -> HttpResponseBase | None:
        """Refuse, send to sign-in or to the lock page, or let the view answer."""
        rule = rule_of(view)
        if rule is None:
            raise ImproperlyConfigured(
                f"The view {view.__module__}.{view.__name__} does not state who may use it."
            )
        device: DeviceSession | None = getattr(request, "device", None)
        if device is not None and not rule.while_locked:
            locked = self._locked(request, device, activity=rule.activity)
            if locked and rule.permission is not None:
                return self._ask_for_pin(request, secret=getattr(view, "holds_secrets", False))
        if rule.permission is None:
            return None
        if device is None:
            if wants_json(request):
                return JsonResponse({"signed_in": False}, status=401)
            there = request.get_full_path() if request.method == "GET" else "/"
            return redirect(f"{reverse('sign-in')}?{urlencode({'next': there})}")
        if rule.permission and not request.user.has_perm(rule.permission):
            route = request.resolver_match.view_name if request.resolver_match else ""
            trail.record(Action.REFUSED, note=f"{rule.permission} at {route}")
            raise PermissionDenied(f"This needs the permission {rule.permission}.")
        if request.method == "POST":
            kept = request.session.get(PENDING)
            if kept and kept["path"] == request.get_full_path():
                del request.session[PENDING]  # sent after all
        return None

    def _device(self, request: HttpRequest) -> DeviceSession | None:
        if not request.user.is_authenticated:
            return None
        device = DeviceSession.objects.filter(
            pk=request.session.get(SESSION_KEY, 0), account_id=request.user.pk
        ).first()
        if device is None or not device.runs(timezone.now()):
            logout(request)
            request.user = AnonymousUser()
            return None
        return device

    def _locked(self, request: HttpRequest, device: DeviceSession, *, activity: bool) -> bool:
        clinic: Clinic = request.clinic  # type: ignore[attr-defined]
        now = timezone.now()
        if not device.locked and now - device.last_active > timedelta(minutes=clinic.idle_minutes):
            lock(device)
        if not device.locked and activity and now - device.last_active > _RESOLUTION:
            device.last_active = now
            device.save(update_fields=["last_active"])
        return device.locked

    def _ask_for_pin(self, request: HttpRequest, *, secret: bool) -> HttpResponse:
        if wants_json(request):
            return JsonResponse({"locked": True}, status=423)
        if request.method == "GET":
            return redirect(f"{reverse('locked')}?{urlencode({'next': request.get_full_path()})}")
        if request.path == reverse("resume"):
            return redirect("locked")  # what is kept stays kept
        sent = "" if secret else request.POST.urlencode()
        if secret or request.FILES or len(sent) > _PENDING_LIMIT:
            request.session[NOT_SENT] = _not_sent(request)
            return redirect(f"{reverse('locked')}?{urlencode({'next': _page_of(request)})}")
        request.session[PENDING] = {"path": request.get_full_path(), "sent": sent}
        return redirect("locked")


def _not_sent(request: HttpRequest) -> str:
    again = "choose the file and type the rest again" if request.FILES else "type it again"
    return f"What you entered was not sent, as the screen was locked: {again}."


def _page_of(request: HttpRequest) -> str:
    """The page with the form that was sent: the one it came from on this site, else the address itself."""
    scheme, host, path, query, _ = urlsplit(request.headers.get("Referer", ""))
    if (scheme, host) == (request.scheme, request.get_host()) and path.startswith("/"):
        return f"{path}?{query}" if query else path
    return request.get_full_path()


def lock(device: DeviceSession) -> None:
    """Lock a device until its PIN or password is given."""
    with transaction.atomic():
        device.locked = True
        device.save(update_fields=["locked"])
        trail.record(Action.LOCK, kind="accounts.devicesession", object_id=device.pk)
