"""The first page, the clinic's settings, and the pages for what went wrong."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from evenfield.clinic.access import Role, open_to_all, requires, signed_in
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.pages.forms import ClinicForm
from evenfield.clinic.parts import clinic_parts

_FAILED = (
    '<!doctype html><html lang="en"><meta charset="utf-8"><title>Something went wrong</title>'
    "<h1>Something went wrong</h1><p>What you sent is not saved, nor half of it. Go back and try again. "
    "The terminal of the server says more.</p></html>"
)


@signed_in()
def home(request: StaffRequest) -> HttpResponse:
    """Where one begins: what each part has to say to this account."""
    notes = [note for part in clinic_parts() for note in part.home_notes(request.user)]
    context = {
        "notes": [note for note in notes if not note.setting_up],
        "setting_up": [note for note in notes if note.setting_up],
        "only_trainer": request.user.roles == {Role.TRAINER},
    }
    return render(request, "pages/home.html", context)


@requires("pages.settings")
def clinic_settings(request: StaffRequest) -> HttpResponse:
    """The clinic's name, time zone, dates, and when screens lock."""
    form = ClinicForm(request.POST or None, instance=request.clinic)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("clinic-settings")
    return render(request, "pages/settings.html", {"form": form})


@open_to_all
def about(request: HttpRequest) -> HttpResponse:
    """What this is for and what it is not."""
    return render(request, "pages/about.html")


def refused(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """403."""
    return _problem(
        request, 403, "Not for this account", "Your roles do not include this. The owner can change them."
    )


def csrf_failed(request: HttpRequest, reason: str = "") -> HttpResponse:
    """403 because the form was old or came from elsewhere."""
    return _problem(
        request,
        403,
        "Please send it again",
        "This page was open too long. Go back, reload it, and try again.",
    )


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """404."""
    return _problem(request, 404, "Nothing here", "There is no page or record at this address.")


def failed(request: HttpRequest) -> HttpResponse:
    """500; written without templates or database, either of which may be what failed."""
    return HttpResponse(_FAILED, status=500)


def _problem(request: HttpRequest, status: int, title: str, words: str) -> HttpResponse:
    return render(request, "pages/problem.html", {"title": title, "words": words}, status=status)
