"""What only lead clinician or owner may do: switch off, merge, hand over, erase."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.people.finding import likely_same
from evenfield.clinic.people.forms import ActivityForm, EraseForm, OtherCodeForm
from evenfield.clinic.people.leaving import EraseError, EraseReason, erase, export_zip
from evenfield.clinic.people.merging import CHOSEN_FIELDS, MergeError, merge
from evenfield.clinic.people.models import Person
from evenfield.clinic.people.views import present_person

_LABELS = {field.name: str(field.verbose_name).capitalize() for field in Person._meta.fields}


@requires("people.deactivate")
def deactivate(request: StaffRequest, code: str) -> HttpResponse:
    """Someone no longer comes; the record stays."""
    one = present_person(code)
    form = ActivityForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        one.active, one.inactive_reason = False, form.cleaned_data["reason"]
        one.save()
        messages.success(request, "No longer active. The record stays.")
        return redirect("person", code=one.code)
    return render(request, "people/deactivate.html", {"form": form, "person": one})


@requires("people.merge")
def merge_person(request: StaffRequest, code: str) -> HttpResponse:
    """Choose the other record, then field by field which of the two is right."""
    kept = present_person(code)
    form = OtherCodeForm(request.POST or None)
    context: dict[str, object] = {"form": form, "person": kept, "alike": likely_same(kept)}
    if request.method == "POST" and form.is_valid():
        other: Person = form.cleaned_data["code"]
        if request.POST.get("really"):
            try:
                merge(kept, other, {field: request.POST.get(field) == "other" for field in CHOSEN_FIELDS})
            except MergeError as error:
                form.add_error("code", str(error))
                return render(request, "people/merge.html", context)
            messages.success(request, f"{other.shown_code} is now part of this record.")
            return redirect("person", code=kept.code)
        if other.pk == kept.pk:
            form.add_error("code", "This is the record itself.")
        else:
            context |= {"other": other, "rows": _side_by_side(kept, other)}
    return render(request, "people/merge.html", context)


def _side_by_side(kept: Person, other: Person) -> list[dict[str, object]]:
    rows = []
    for name in CHOSEN_FIELDS:
        ours, theirs = getattr(kept, name), getattr(other, name)
        rows.append(
            {
                "name": name,
                "label": _LABELS[name],
                "kept": ours,
                "other": theirs,
                "differs": ours != theirs,
                "take_other": not ours and bool(theirs),
            }
        )
    return rows


@requires("people.export")
@require_POST
def export_person(request: StaffRequest, code: str) -> HttpResponse:
    """Everything held about one person, as a ZIP archive."""
    one = present_person(code)
    answer = HttpResponse(export_zip(one, request.clinic.name), content_type="application/zip")
    answer.headers["Content-Disposition"] = (
        f'attachment; filename="person-{one.code}-{timezone.localdate().isoformat()}.zip"'
    )
    return answer


@requires("people.erase")
def erase_person(request: StaffRequest, code: str) -> HttpResponse:
    """Erase, after the code was typed out."""
    one = present_person(code)
    form = EraseForm(request.POST or None, person=one)
    if request.method == "POST" and form.is_valid():
        try:
            erase(one, EraseReason(form.cleaned_data["reason"]))
        except EraseError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "Erased. The trail keeps only that it happened.")
            return redirect("people")
    return render(request, "people/erase.html", {"form": form, "person": one})
