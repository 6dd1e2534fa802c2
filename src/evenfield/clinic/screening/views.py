"""Screening before a visit: where someone stands, the questions, and the lead clinician's decision."""

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.formats import date_format
from django.utils.timezone import localtime

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.parts import person_ways
from evenfield.clinic.people.views import present_person
from evenfield.clinic.screening.consent import sheet
from evenfield.clinic.screening.forms import DecisionForm, QuestionsForm
from evenfield.clinic.screening.models import ScreeningEntry
from evenfield.clinic.screening.questions import present_questions
from evenfield.clinic.screening.recording import keep_answers, keep_decision
from evenfield.clinic.screening.standing import standing
from evenfield.conduct.screening import Outcome, ScreeningError


@requires("screening.view")
def screening(request: StaffRequest, code: str) -> HttpResponse:
    """Where this person stands, and all that was kept."""
    one = present_person(code)
    trail.record(Action.READ, kind="screening.screeningentry", subject_id=one.pk)
    ways = person_ways(request.user, one.one_person())
    return render(request, "screening/standing.html", {"person": one, "now": standing(one), "ways": ways})


@requires("screening.view")
def kept_entry(request: StaffRequest, code: str, number: int) -> HttpResponse:
    """One entry as it was kept, to read or print."""
    one = present_person(code)
    subjects = [record.pk for record in one.one_person()]
    entry = ScreeningEntry.objects.filter(number=number, subject_id__in=subjects, kept__isnull=False).first()
    if entry is None:
        raise Http404
    trail.record(Action.READ, kind="screening.screeningentry", object_id=number, subject_id=one.pk)
    return render(request, "screening/kept.html", {"person": one, "entry": entry, "content": entry.content})


@requires("screening.ask")
def ask(request: StaffRequest, code: str) -> HttpResponse:
    """All questions on one page; nothing is filled in beforehand."""
    one = present_person(code)
    try:
        questions = present_questions()
    except ScreeningError as error:
        context = {
            "title": "The questions cannot be asked",
            "words": f"{error}. The owner can mend the file.",
        }
        return render(request, "pages/problem.html", context, status=500)
    now = standing(one)
    when = date_format(localtime(now.answers.at), "DATE_FORMAT") if now.answers else ""
    sent = request.POST if request.method == "POST" else None
    form = QuestionsForm(sent, questions=questions, last=now.last_given, when=when)
    stale = sent is not None and sent.get("version") != questions.version
    if stale:
        messages.warning(request, "The questions have changed since this page was opened: please look again.")
    if sent is not None and not stale and form.is_valid():
        keep_answers(one, questions, form.cleaned_data)
        return redirect("screening", code=one.code)
    return render(request, "screening/ask.html", {"person": one, "form": form, "questions": questions})


@requires("screening.decide")
def decide(request: StaffRequest, code: str) -> HttpResponse:
    """A lead clinician lifts a refusal, or answers what was asked, with a written reason."""
    one = present_person(code)
    with transaction.atomic():
        now = standing(one)
        if now.deciding is None or (now.outcome is Outcome.GO_ON and now.decision is None):
            messages.info(request, "There is nothing to decide.")
            return redirect("screening", code=one.code)
        form = DecisionForm(request.POST or None, initial={"about": now.deciding.number})
        if request.method == "POST" and form.is_valid():
            if form.cleaned_data["about"] != now.deciding.number:
                messages.warning(request, "There are newer answers: please read them first.")
                return redirect("decide-screening", code=one.code)
            keep_decision(
                now.deciding,
                go_on=form.cleaned_data["decision"] == "go_on",
                reason=form.cleaned_data["reason"],
            )
            messages.success(request, "Kept with your reason.")
            return redirect("screening", code=one.code)
    return render(request, "screening/decide.html", {"person": one, "form": form, "now": now})


@requires("screening.view")
def take_home(request: StaffRequest, code: str) -> HttpResponse:
    """Cautions and after-care, to print and hand over."""
    one = present_person(code)
    return render(request, "screening/sheet.html", {"person": one, "sheet": sheet()})
