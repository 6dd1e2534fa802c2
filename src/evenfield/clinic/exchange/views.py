"""Handing over one person or one visit."""

from django import forms
from django.http import HttpResponse
from django.shortcuts import render

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.courses.finding import visit_or_404
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.exchange.fhir_bundle import FhirError
from evenfield.clinic.exchange.sending import CHOICES, send
from evenfield.clinic.people.models import Person
from evenfield.clinic.people.views import present_person


class SendForm(forms.Form):
    """In which form, and whether pictures go with it."""

    form = forms.ChoiceField(label="As", choices=CHOICES, widget=forms.RadioSelect, initial="pdf")
    photographs = forms.BooleanField(
        label="With the photographs themselves (FHIR only)",
        required=False,
        help_text="Only if the client agreed that they leave the clinic.",
    )


@requires("exchange.send")
def send_person(request: StaffRequest, code: str) -> HttpResponse:
    """All of one person."""
    return _send(request, present_person(code))


@requires("exchange.send")
def send_visit(request: StaffRequest, number: int) -> HttpResponse:
    """One visit."""
    return _send(request, visit_or_404(number))


def _send(request: StaffRequest, about: Person | Visit) -> HttpResponse:
    form = SendForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            sent = send(about, given["form"], request.clinic, photographs=given["photographs"])
        except FhirError as error:
            form.add_error(None, str(error))
        else:
            return HttpResponse(
                sent.content,
                content_type=sent.media_type,
                headers={"Content-Disposition": f'attachment; filename="{sent.name}"'},
            )
    return render(
        request, "exchange/send.html", {"form": form, "about": about, "visit": isinstance(about, Visit)}
    )
