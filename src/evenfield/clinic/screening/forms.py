"""Forms of the screening."""

from collections.abc import Mapping

from django import forms
from django.core.exceptions import ValidationError

from evenfield.clinic.screening.consent import DRAWING, LONGEST_DRAWING
from evenfield.conduct.screening import Given, Screening

_CHOICES = [(given.value, given.value.capitalize()) for given in Given]


class QuestionsForm(forms.Form):
    """All questions, each to be answered anew; what was said last time stands beside."""

    def __init__(
        self, data: Mapping[str, str] | None, *, questions: Screening, last: Mapping[str, str], when: str
    ) -> None:
        super().__init__(data, prefix="q")
        for question in questions.question:
            self.fields[question.id] = forms.ChoiceField(
                label=question.ask,
                choices=_CHOICES,
                widget=forms.RadioSelect,
                help_text=f"Last time ({when}): {last[question.id]}" if question.id in last else "",
                error_messages={"required": "Answer this one: yes, no or not known."},
            )


class DecisionForm(forms.Form):
    """What the lead clinician says, and why."""

    about = forms.IntegerField(widget=forms.HiddenInput)
    decision = forms.ChoiceField(
        label="Decision",
        choices=[("go_on", "The visit may go on"), ("refuse", "No visit")],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label="Reason", max_length=2000, min_length=10, widget=forms.Textarea(attrs={"rows": 4})
    )


class ConsentForm(forms.Form):
    """The client's name as typed by them, the tick, and a drawn signature if the screen can."""

    version = forms.CharField(widget=forms.HiddenInput)
    agrees = forms.BooleanField(label="I have read this text and agree")
    name = forms.CharField(
        label="Name of the one who signs",
        max_length=200,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    drawing = forms.CharField(required=False, max_length=LONGEST_DRAWING, widget=forms.HiddenInput)

    def clean_drawing(self) -> str:
        """Moves and lines only."""
        drawing = str(self.cleaned_data["drawing"])
        if drawing and not DRAWING.fullmatch(drawing):
            raise ValidationError("The drawn signature cannot be read; clear it and sign again.")
        return drawing


class ConsentTextForm(forms.Form):
    """A new version of the clinic's text."""

    text = forms.CharField(
        label="Text", min_length=40, max_length=50_000, widget=forms.Textarea(attrs={"rows": 20})
    )
