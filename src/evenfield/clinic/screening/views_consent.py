"""Consent: signing on the screen, taking it back, and the clinic's own text."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.people.views import present_person
from evenfield.clinic.screening.consent import may_be_signed, present_text
from evenfield.clinic.screening.forms import ConsentForm, ConsentTextForm
from evenfield.clinic.screening.models import ConsentText, Kind, ScreeningEntry
from evenfield.clinic.screening.recording import keep_consent
from evenfield.clinic.screening.standing import standing


@requires("screening.ask")
def consent(request: StaffRequest, code: str) -> HttpResponse:
    """Read the text, type the name, tick, and draw a signature where the screen can."""
    one = present_person(code)
    text = present_text()
    form = ConsentForm(request.POST or None, initial={"version": text.version})
    if not may_be_signed(text):
        return render(request, "screening/no_text.html", {"person": one})
    if request.method == "POST" and form.is_valid():
        if form.cleaned_data["version"] != text.version:
            messages.warning(
                request, "The text has changed since this page was opened: please read it again."
            )
            return redirect("consent", code=one.code)
        keep_consent(one, text, name=form.cleaned_data["name"], drawing=form.cleaned_data["drawing"])
        messages.success(request, "Signed, and kept with its text.")
        return redirect("screening", code=one.code)
    return render(request, "screening/consent.html", {"person": one, "form": form, "text": text})


@requires("screening.ask")
@require_POST
def withdraw(request: StaffRequest, code: str) -> HttpResponse:
    """The client takes the consent back; what was signed stays in the record."""
    one = present_person(code)
    with transaction.atomic():
        now = standing(one)
        if now.consent or now.earlier_consent:
            ScreeningEntry.keep(Kind.WITHDRAWAL, one.pk, {})
            messages.success(request, "The consent is taken back.")
    return redirect("screening", code=one.code)


@requires("screening.text")
def consent_text(request: StaffRequest) -> HttpResponse:
    """The clinic's text; saving makes a new version, and everyone signs again."""
    text = present_text()
    form = ConsentTextForm(request.POST or None, initial={"text": text.text})
    if request.method == "POST" and form.is_valid():
        words = form.cleaned_data["text"].replace("\r\n", "\n").strip()
        if words == text.text:
            messages.info(request, "Nothing was changed.")
        else:
            with transaction.atomic():
                row = ConsentText.append(actor=request.user.username, text=words)
                trail.record(Action.CREATE, kind="screening.consenttext", object_id=row.number)
            messages.success(request, f"Version {row.number} is the text to sign from now on.")
        return redirect("consent-text")
    return render(request, "screening/text.html", {"form": form, "text": text})
