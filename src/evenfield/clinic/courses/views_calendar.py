"""The calendar: a day or a week on the screen, as a file, and at an address for calendar programs."""

import hashlib
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from evenfield.clinic.access import open_to_all, requires
from evenfield.clinic.accounts import throttle
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.actor import acting
from evenfield.clinic.audit.models import Action
from evenfield.clinic.courses.calendar_address import address_of_token, end_address, make_address, visits_for
from evenfield.clinic.courses.calendar_days import (
    WAYS,
    counted_between,
    day_grid,
    visits_between,
    week,
    week_of,
)
from evenfield.clinic.courses.calendar_file import MEDIA_TYPE, calendar_file, calendar_lines
from evenfield.clinic.courses.forms import CalendarAddressForm, DayForm
from evenfield.clinic.courses.models import BookingRules, CalendarAddress
from evenfield.clinic.pages.models import Clinic


@requires("courses.view")
@require_safe
def calendar(request: StaffRequest) -> HttpResponse:
    """The visits of a day by room, device or staff, or of a week by day."""
    rules = BookingRules.present()
    day, form = _day(request)
    show = "day" if request.GET.get("show") == "day" else "week"
    by = way if (way := request.GET.get("by", "")) in WAYS else "room"
    first, last = _shown(day, show)
    step = timedelta(days=1 if show == "day" else 7)
    context: dict[str, Any] = {
        "form": form,
        "day": day,
        "show": show,
        "by": by,
        "ways": WAYS,
        "today": timezone.localdate(),
        "earlier": first - step,
        "later": first + step,
        "first": first,
        "last": last,
    }
    if show == "day":
        visits = visits_between(first, last)
        context["grid"] = day_grid(visits, day, by, rules)
        context["is_open"] = rules.open_on(day.weekday())
        count = len(visits)
    else:
        context["days"] = days = week(first, rules)
        count = sum(len(one.visits) for one in days)
    trail.record(Action.READ, kind="courses.visit", note=f"calendar, {count} visits")
    return render(request, "courses/calendar.html", context)


@requires("courses.view")
@require_safe
def calendar_download(request: StaffRequest) -> HttpResponse:
    """The shown days as a file for a calendar program."""
    day, _ = _day(request)
    first, last = _shown(day, request.GET.get("show", "week"))
    visits = calendar_lines(counted_between(first, last))
    trail.record(Action.EXPORT, kind="courses.visit", note=f"calendar file, {len(visits)} visits")
    answer = HttpResponse(
        calendar_file(visits, request.clinic.name, BookingRules.present()), content_type=MEDIA_TYPE
    )
    answer.headers["Content-Disposition"] = f'attachment; filename="visits-{first.isoformat()}.ics"'
    return answer


@requires("courses.view")
def own_calendar(request: StaffRequest) -> HttpResponse:
    """Make an address for one's calendar program; it is shown once."""
    held = CalendarAddress.objects.filter(account=request.user).first()
    form = CalendarAddressForm(request.POST if request.method == "POST" else None)
    context: dict[str, Any] = {"form": form, "held": held, "names": BookingRules.present().names_in_calendars}
    if form.is_valid():
        token = make_address(request.user, whole_clinic=form.cleaned_data["whole_clinic"])
        there = reverse("calendar-feed", kwargs={"token": token})
        context["address"] = request.build_absolute_uri(there)
    return render(request, "courses/own_calendar.html", context)


@requires("courses.view")
@require_POST
def end_calendar(request: StaffRequest) -> HttpResponse:
    """End one's own address."""
    end_address(request.user)
    messages.success(request, "The address answers no longer.")
    return redirect("own-calendar")


@open_to_all
@require_safe
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """The visits for a calendar program that knows the token; what it got goes into the trail."""
    address = address_of_token(token)
    if address is None:
        raise Http404
    visits = visits_for(address)
    content = calendar_file(visits, Clinic.present().name, BookingRules.present())
    tag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers={"ETag": tag})
    with acting(address.account.actor(throttle.address_of(request))):
        trail.record(Action.EXPORT, kind="courses.calendaraddress", note=f"{len(visits)} visits")
    return HttpResponse(content, content_type=MEDIA_TYPE, headers={"ETag": tag})


def _day(request: StaffRequest) -> tuple[date, DayForm]:
    """The day asked for, today if none or not one, and the form to ask for another."""
    form = DayForm(request.GET if "day" in request.GET else None)
    day = form.cleaned_data["day"] if form.is_valid() else timezone.localdate()
    return day, form if form.is_bound else DayForm(initial={"day": day})


def _shown(day: date, show: str) -> tuple[date, date]:
    if show == "day":
        return day, day
    monday = week_of(day)
    return monday, monday + timedelta(days=6)
