"""What holds for every page: nothing is kept in caches; the clinic's time zone and way of writing dates."""

import zoneinfo
from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone, translation

from evenfield.clinic.pages.models import Clinic

Answer = Callable[[HttpRequest], HttpResponseBase]


class PrivatePagesMiddleware:
    """Tells browsers to keep nothing of what the record shows (ASVS 14.3.2)."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Add the header to every answer that is not a static file."""
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "no-store")
        response.headers["Permissions-Policy"] = "camera=(self), microphone=(), geolocation=()"
        return response


class ClinicMiddleware:
    """Puts the clinic on the request and speaks in its time zone."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Serve the request in the clinic's time zone and locale."""
        clinic = Clinic.present()
        request.clinic = clinic  # type: ignore[attr-defined]
        with timezone.override(zoneinfo.ZoneInfo(clinic.time_zone)), translation.override(clinic.locale):
            response = self.get_response(request)
            response.headers.setdefault("Content-Language", clinic.locale)
        return response
