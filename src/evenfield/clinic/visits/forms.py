"""Forms of closing a visit."""

import secrets
from collections.abc import Sequence
from typing import Any

from django import forms

from evenfield.clinic.visits.models import NextSteps
from evenfield.clinic.visits.running import Row
from evenfield.conduct.adverse import AdverseEventError, default_adverse_events, grade_event

_DUTIES = "Duties to report differ from place to place; the lead clinician decides."


def _redness() -> list[tuple[str, str]]:
    return [
        (str(step), f"{step}: {words}") for step, words in enumerate(default_adverse_events().redness.steps)
    ]


class ClosingForm(forms.Form):
    """What was seen and said at the end."""

    redness = forms.ChoiceField(label="Skin looked at: redness", choices=_redness, widget=forms.RadioSelect)
    broken = forms.BooleanField(label="blistered or broken", required=False)
    skin_words = forms.CharField(
        label="The skin in words", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
    )
    client_words = forms.CharField(
        label="What the client says, in their own words",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    next_words = forms.CharField(
        label="For the next visit", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
    )


class UnwantedForm(forms.Form):
    """An unwanted event, graded."""

    number = forms.CharField(widget=forms.HiddenInput, min_length=8, max_length=40)
    term = forms.ChoiceField(
        label="What",
        choices=lambda: [("", "choose"), *((term.id, term.name) for term in default_adverse_events().term)],
    )
    grade = forms.TypedChoiceField(
        label="Grade", coerce=int, choices=[(str(grade), f"{grade}") for grade in range(1, 6)]
    )
    words = forms.CharField(
        label="What exactly, and where", max_length=4000, widget=forms.Textarea(attrs={"rows": 3})
    )
    began = forms.CharField(label="When it was first noticed", max_length=200)
    done = forms.CharField(label="What was done", max_length=4000, widget=forms.Textarea(attrs={"rows": 2}))
    told = forms.CharField(
        label="To whom it was reported, and when",
        max_length=1000,
        required=False,
        help_text=_DUTIES,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("number", secrets.token_hex(16))

    def clean(self) -> dict[str, Any]:
        """A grade that the term has."""
        data: dict[str, Any] = super().clean() or {}
        if data.get("term") and data.get("grade"):
            try:
                grade_event(data["term"], data["grade"], data.get("words", ""))
            except AdverseEventError as error:
                self.add_error("grade", f"{error}.")
        return data


class ReportedForm(forms.Form):
    """To whom an unwanted event was reported, entered after the event."""

    number = forms.CharField(widget=forms.HiddenInput, min_length=8, max_length=40)
    of = forms.ChoiceField(label="Unwanted event")
    told = forms.CharField(
        label="To whom it was reported, and when",
        max_length=1000,
        help_text=_DUTIES,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, rows: Sequence[Row], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("number", secrets.token_hex(16))
        events = [(row.id, f"{row.content['name']}, grade {row.content['grade']}") for row in rows]
        self.fields["of"] = forms.ChoiceField(label="Unwanted event", choices=events)


class NextStepsForm(forms.ModelForm):  # type: ignore[type-arg]
    """The clinic's own words."""

    class Meta:
        model = NextSteps
        fields = ("grade_1", "grade_2", "grade_3", "grade_4", "grade_5")
