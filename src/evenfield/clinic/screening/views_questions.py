"""The screening questions: those in force with their sources, and the clinic's own in their place."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.own_files import OwnTextForm
from evenfield.clinic.screening.questions import keep_questions, present_questions, questions_text
from evenfield.conduct.screening import ScreeningError

_WORDS = {
    "label": "Questions as text",
    "help_text": "Other questions need another version. Empty: the shipped ones.",
}


@requires("screening.text")
def questions_asked(request: StaffRequest) -> HttpResponse:
    """Show the questions in force, and keep the clinic's own."""
    trouble, questions, text = "", None, ""
    try:
        text = questions_text()
        questions = present_questions()
    except ScreeningError as error:
        trouble = str(error)
    form = OwnTextForm(request.POST or None, initial={"text": text}, **_WORDS)
    if request.method == "POST" and form.is_valid():
        try:
            kept = keep_questions(form.cleaned_data["text"])
        except ScreeningError as error:
            form.add_error("text", str(error))
        else:
            messages.success(request, "Kept. They are asked from now on." if kept else "Nothing was changed.")
            return redirect("screening-questions")
    context = {"form": form, "questions": questions, "trouble": trouble}
    return render(request, "screening/questions_asked.html", context)
