"""What the trail is asked for."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.models import Action
from evenfield.clinic.people.codes import read_code
from evenfield.clinic.people.models import Person

NOBODY = "nobody"


class TrailForm(forms.Form):
    """Whose record, by whom, on which day, what was done; each may be left open."""

    person = forms.CharField(
        label="Client's code",
        max_length=20,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    staff = forms.ChoiceField(label="By", required=False)
    day = forms.DateField(
        label="Day", required=False, widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )
    action = forms.ChoiceField(label="Action", required=False, choices=[("", "any"), *Action.choices])

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        staff = [
            (str(one.pk), f"{one.name} ({one.username})") for one in Account.objects.order_by("name", "pk")
        ]
        field = self.fields["staff"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "anyone"), *staff, (NOBODY, "nobody signed in, or the terminal")]

    def clean_person(self) -> Person | None:
        """The record with this code, or the one it was merged into."""
        text = self.cleaned_data["person"]
        if not text:
            return None
        found: Person | None = Person.objects.filter(code=read_code(text) or "").first()
        if found is None:
            raise ValidationError("No record has this code; a code is six letters and digits, like ABC-123.")
        return found.kept
