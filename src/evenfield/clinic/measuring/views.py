"""Measuring: what to measure, entering a set, correcting a number."""

from urllib.parse import parse_qsl

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.measuring.forms import CorrectForm, StartForm
from evenfield.clinic.measuring.history import Measured, entries, in_force, measured
from evenfield.clinic.measuring.known import girths_last_time, known_of
from evenfield.clinic.measuring.models import Kind, MeasureEntry
from evenfield.clinic.measuring.plan import PlanError, place_words, read_plan
from evenfield.clinic.measuring.protocols import ProtocolError, Protocols, Quantity, present_protocols
from evenfield.clinic.measuring.recording import keep_correction, keep_set
from evenfield.clinic.measuring.slips import Doubt, HeldAgainst, plausible_span, question
from evenfield.clinic.measuring.taking import begin, disagreement, judge
from evenfield.clinic.measuring.units import unit_of
from evenfield.clinic.people.models import Person
from evenfield.clinic.people.views import present_person


def _cannot(request: StaffRequest, error: ProtocolError) -> HttpResponse:
    context = {"title": "Nothing can be measured", "words": f"{error}. The owner can mend the file."}
    return render(request, "pages/problem.html", context, status=500)


@requires("measuring.measure")
def start(request: StaffRequest, code: str) -> HttpResponse:
    """Choose region, side, protocols and levels; or measure again as before."""
    one = present_person(code)
    try:
        protocols = present_protocols()
    except ProtocolError as error:
        return _cannot(request, error)
    unit = unit_of(Quantity.GIRTH, request.clinic.length_unit)
    sent = request.POST if request.method == "POST" else None
    form = StartForm(sent, protocols=protocols, unit=unit, length_unit=request.clinic.length_unit)
    if sent is not None and form.is_valid() and form.plan:
        return redirect(f"{reverse('enter-measurements', kwargs={'code': one.code})}?{form.plan.query()}")
    return render(
        request, "measuring/start.html", {"person": one, "form": form, "again": again(one, protocols)}
    )


def again(person: Person, protocols: Protocols) -> list[tuple[str, str, object]]:
    """What was measured before and can be measured again just so: words, query, when."""
    found: dict[str, tuple[str, str, object]] = {}
    for row in entries(person):
        if row.kind == Kind.SET:
            content = row.content
            asked = dict(parse_qsl(content["query"]))
            try:
                plan = read_plan(asked, protocols, "cm")
            except PlanError:
                continue  # that protocol is no longer there
            words = ", ".join(one.name for one in plan.protocols)
            found.setdefault(
                content["query"], (f"{plan.place.capitalize()}: {words}", content["query"], row.at)
            )
    return list(found.values())[:6]


@requires("measuring.measure")
def enter(request: StaffRequest, code: str) -> HttpResponse:
    """Enter one set: two rounds, more where readings disagree, questions where one looks like a slip."""
    one = present_person(code)
    try:
        protocols = present_protocols()
        plan = read_plan(request.GET.dict(), protocols, request.clinic.length_unit)
    except ProtocolError as error:
        return _cannot(request, error)
    except PlanError as error:
        messages.error(request, str(error))
        return redirect("start-measuring", code=one.code)
    taking = begin(plan)
    if request.method == "POST":
        numbers = in_force(one)
        taking = judge(plan, request.POST.dict(), known_of(plan, numbers), girths_last_time(plan, numbers))
        if taking.complete:
            row = keep_set(
                one,
                plan,
                taking.values(),
                token=taking.token,
                note=taking.note,
                amended=taking.amended,
                confirmed=taking.confirmed(),
            )
            messages.success(request, "Kept.")
            return redirect("kept-measurements", code=one.code, number=row.number)
    return render(request, "measuring/enter.html", {"person": one, "plan": plan, "taking": taking})


@requires("measuring.correct")
def correct(request: StaffRequest, code: str, number: int) -> HttpResponse:
    """A correcting entry about one number of an earlier set, which stays."""
    one = present_person(code)
    key = request.GET.get("value", "")
    rows = entries(one)
    about = next((held for held in measured(rows) if held.entry == number and held.key == key), None)
    if about is None:
        raise Http404
    unit = unit_of(about.quantity, request.clinic.length_unit)
    form = CorrectForm(request.POST.dict() or None, unit, about.protocol)
    doubts: list[Doubt] = []
    if request.method == "POST" and form.is_valid():
        known = HeldAgainst(
            plausible_span(about.quantity, about.region, about.protocol), _before(rows, about)
        )
        found = (
            question(typed, reading, unit, about.protocol, known)
            for typed, reading in zip(form.typed, form.readings, strict=True)
        )
        doubts = [doubt for doubt in found if doubt is not None][:1]
        if form.confirms(doubts):
            form.settle()
        if form.settled is not None and not form.settled.agreed:
            doubts.append(disagreement(len(form.readings), form.settled))
        if form.is_valid() and form.confirms(doubts):
            keep_correction(
                one,
                about,
                reason=form.cleaned_data["reason"],
                typed=form.typed,
                readings=form.readings,
                settled=form.settled,
            )
            messages.success(request, "The correction is kept; what stood there before stays in the record.")
            return redirect("kept-measurements", code=one.code, number=number)
    if not doubts:
        del form.fields["sure"]  # there is nothing to be sure about
    context = {
        "person": one,
        "about": about,
        "words": about.words(request.clinic.length_unit),
        "where": place_words(about.region, about.side),
        "readings": [unit.show(reading) for reading in about.readings],
        "form": form,
        "asked": [
            (doubt.words, [(slip.words, unit.show(slip.meant)) for slip in doubt.likely]) for doubt in doubts
        ],
    }
    return render(request, "measuring/correct.html", context)


def _before(rows: list[MeasureEntry], about: Measured) -> float | None:
    """The reading of the same place and protocol in the nearest other set."""
    return next(
        (
            held.reading
            for held in measured(rows)
            if held.entry != about.entry
            and not held.withdrawn
            and held.place == about.place
            and held.protocol.key == about.protocol.key
        ),
        None,
    )
