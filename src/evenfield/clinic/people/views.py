"""Finding, adding and changing people."""

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest, wants_json
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.parts import clinic_parts, person_ways
from evenfield.clinic.people.codes import read_code
from evenfield.clinic.people.finding import find_people, likely_same
from evenfield.clinic.people.forms import FindForm, PersonForm
from evenfield.clinic.people.models import Person

_LAST = "last search of people"


def person_or_404(code: str) -> Person:
    """The person of a code in an address; a merged code gives the kept record."""
    found = Person.objects.select_related("merged_into").filter(code=read_code(code) or "").first()
    if found is None:
        raise Http404
    kept: Person = found.kept
    return kept


@requires("people.view")
def people(request: StaffRequest) -> HttpResponse:
    """The last search and what it finds; what is sought travels in the body, never in the address."""
    if request.method == "POST":
        form = FindForm(request.POST)
        if form.is_valid():
            request.session[_LAST] = form.cleaned_data
        if not wants_json(request):
            return redirect("people")
    asked: dict[str, Any] = request.session.get(_LAST, {})
    form = FindForm(initial=asked)
    text = str(asked.get("text", "")).strip()
    context: dict[str, Any] = {"form": form, "text": text}
    if text:
        found = find_people(
            text, month_first=request.clinic.month_first, with_inactive=bool(asked.get("with_inactive"))
        )
        trail.record(Action.FIND, kind="people.person", note=f"{len(found)} found")
        context["found"] = found
    page = "people/found.html" if wants_json(request) else "people/people.html"
    return render(request, page, context)


@requires("people.change")
def add_person(request: StaffRequest) -> HttpResponse:
    """A new person; those who may be the same are shown first."""
    form = PersonForm(request.POST or None)
    alike = []
    if request.method == "POST" and form.is_valid():
        person = form.save(commit=False)
        alike = likely_same(person)
        if not alike or request.POST.get("really"):
            person.save()
            messages.success(request, f"Added with the code {person.shown_code}.")
            return redirect("person", code=person.code)
    return render(request, "people/add.html", {"form": form, "alike": alike})


@requires("people.view")
def person(request: StaffRequest, code: str) -> HttpResponse:
    """One person's page; looking at it is recorded."""
    one = person_or_404(code)
    if one.code != code:
        return redirect("person", code=one.code)
    trail.record(Action.READ, kind="people.person", object_id=one.pk, subject_id=one.pk)
    links = [
        entry
        for part in clinic_parts()
        for entry in part.person_links()
        if request.user.has_perm(entry.permission)
    ]
    everyone = one.one_person()
    sections = [part.person_section(request.user, everyone) for part in clinic_parts()]
    context = {
        "person": one,
        "links": links,
        "sections": [section for section in sections if section] if not one.erased else [],
        "ways": person_ways(request.user, everyone) if not one.erased else [],
        "merged": one.merged.all(),
        "alike": likely_same(one) if not one.erased and request.user.has_perm("people.merge") else [],
    }
    return render(request, "people/person.html", context)


@requires("people.change")
def change_person(request: StaffRequest, code: str) -> HttpResponse:
    """Change who someone is and how to reach them."""
    one = present_person(code)
    form = PersonForm(request.POST or None, instance=one)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("person", code=one.code)
    return render(request, "people/change.html", {"form": form, "person": one})


@requires("people.deactivate")
@require_POST
def come_back(request: StaffRequest, code: str) -> HttpResponse:
    """Someone who had left comes again."""
    one = present_person(code)
    with transaction.atomic():
        one.active, one.inactive_reason = True, ""
        one.save()
    messages.success(request, "Active again.")
    return redirect("person", code=one.code)


def present_person(code: str) -> Person:
    """The person of a code, not erased; else 404."""
    one = person_or_404(code)
    if one.erased:
        raise Http404
    return one
