"""Photographs: the album, taking one, laying one over the first of its pose, the pictures themselves."""

import hashlib
from itertools import groupby

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.parts import person_ways
from evenfield.clinic.people.models import Person
from evenfield.clinic.people.views import present_person
from evenfield.clinic.photographs import store
from evenfield.clinic.photographs.album import Photograph, album, first_of_pose, keep_photograph
from evenfield.clinic.photographs.album import withdraw as keep_withdrawal
from evenfield.clinic.photographs.forms import PhotographForm, WithdrawForm

_KIND = "photographs.photoentry"
_REPEATED = ("region", "side", "view", "posture", "light")


@requires("photographs.view")
def photographs(request: StaffRequest, code: str) -> HttpResponse:
    """All photographs, each pose for itself, oldest first."""
    one = present_person(code)
    trail.record(Action.READ, kind=_KIND, subject_id=one.pk)
    every = album(one)
    standing = [each for each in reversed(every) if not each.withdrawn]
    standing.sort(key=lambda each: each.pose)
    poses = [list(same) for _pose, same in groupby(standing, key=lambda each: each.pose)]
    withdrawn = [each for each in every if each.withdrawn]
    ways = person_ways(request.user, one.one_person())
    context = {"person": one, "poses": poses, "withdrawn": withdrawn, "ways": ways}
    return render(request, "photographs/album.html", context)


@requires("photographs.take")
def take(request: StaffRequest, code: str) -> HttpResponse:
    """Add one; pose, light and distance of the last one are there already, or of the one to repeat."""
    one = present_person(code)
    sent = request.method == "POST"
    model = None if sent else _to_repeat(request, one)
    initial = {name: getattr(model, name) for name in _REPEATED} if model else {}
    if model:
        initial["distance"] = f"{model.distance_m:g}"
    form = PhotographForm(request.POST, request.FILES) if sent else PhotographForm(initial=initial)
    if sent and form.is_valid():
        keep_photograph(one, form.picture, form.said())
        messages.success(request, "Kept, without place, time and camera of the file.")
        return redirect("photographs", code=one.code)
    return render(request, "photographs/take.html", {"person": one, "form": form, "model": model})


@requires("photographs.view")
def compare(request: StaffRequest, code: str, number: int) -> HttpResponse:
    """One photograph beside, or laid over, the first one of its pose."""
    one = present_person(code)
    every = album(one)
    later = _standing(every, number)
    trail.record(Action.READ, kind=_KIND, object_id=number, subject_id=one.pk)
    first = first_of_pose(every, later)
    differs = [
        words
        for words, differ in (
            ("the distance", first and abs(first.distance_m - later.distance_m) > 0.1 * first.distance_m),
            ("the light", first and first.light.casefold() != later.light.casefold()),
        )
        if differ
    ]
    context = {"person": one, "first": first, "later": later, "differs": " and ".join(differs)}
    return render(request, "photographs/compare.html", context)


@requires("photographs.view")
def picture(request: StaffRequest, code: str, number: int) -> HttpResponse:
    """The picture itself; of a withdrawn one nothing is shown, nor of one that was changed on the disk."""
    one = present_person(code)
    held = _standing(album(one), number)
    small = "small" in request.GET
    try:
        content = store.path_of(held.file, small=small).read_bytes()
    except OSError:
        raise Http404 from None
    if not small and hashlib.sha256(content).hexdigest() != held.sha256:
        raise Http404
    if not small:
        trail.record(Action.READ, kind=_KIND, object_id=number, subject_id=one.pk)
    answer = HttpResponse(content, content_type="image/jpeg")
    answer["Content-Disposition"] = f'inline; filename="{one.code}-{number}.jpg"'
    return answer


@requires("photographs.withdraw")
def withdraw(request: StaffRequest, code: str, number: int) -> HttpResponse:
    """Take one out of view, with a reason."""
    one = present_person(code)
    held = _standing(album(one), number)
    form = WithdrawForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        keep_withdrawal(one, held, form.cleaned_data["reason"])
        messages.success(request, "Withdrawn. The entry stays with your reason.")
        return redirect("photographs", code=one.code)
    return render(request, "photographs/withdraw.html", {"person": one, "held": held, "form": form})


def _to_repeat(request: StaffRequest, person: Person) -> Photograph | None:
    every = [each for each in album(person) if not each.withdrawn]
    asked = request.GET.get("as", "")
    named = (each for each in every if str(each.number) == asked)
    return next(named, every[0] if every and not asked else None)


def _standing(every: list[Photograph], number: int) -> Photograph:
    found = next((each for each in every if each.number == number and not each.withdrawn), None)
    if found is None:
        raise Http404
    return found
