"""Forms about people."""

from datetime import date
from typing import ClassVar

from django import forms
from django.core.exceptions import ValidationError

from evenfield.clinic.people.codes import read_code
from evenfield.clinic.people.leaving import EraseReason
from evenfield.clinic.people.models import Person


class FindForm(forms.Form):
    """One line for name, code and date of birth."""

    text = forms.CharField(
        label="Name, code or date of birth",
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off", "spellcheck": "false"}),
    )
    with_inactive = forms.BooleanField(label="Also those who no longer come", required=False)


class PersonForm(forms.ModelForm):  # type: ignore[type-arg]
    """Who someone is and how to reach them."""

    born = forms.DateField(
        label="Date of birth", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )

    class Meta:
        model = Person
        fields = ("given_name", "family_name", "born", "other_names", "phone", "email", "note", "hold_reason")
        widgets: ClassVar = {
            name: forms.TextInput(attrs={"autocomplete": "off"})
            for name in ("given_name", "family_name", "other_names", "phone", "hold_reason")
        }

    def clean_born(self) -> date:
        """Not in the future, not before 1880."""
        born = self.cleaned_data["born"]
        assert isinstance(born, date)
        if not date(1880, 1, 1) <= born <= date.today():
            raise ValidationError("This date of birth cannot be; check the year.")
        return born

    def clean(self) -> dict[str, object]:
        """At least one name."""
        given: dict[str, object] = super().clean() or {}
        if not given.get("given_name") and not given.get("family_name"):
            self.add_error("family_name", "Give at least one name.")
        return given


class OtherCodeForm(forms.Form):
    """The other record of the same person."""

    code = forms.CharField(
        label="Code of the other record", max_length=10, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )

    def clean_code(self) -> Person:
        """A record that exists."""
        code = read_code(str(self.cleaned_data["code"]))
        found = Person.objects.filter(code=code or "", merged_into__isnull=True, erased__isnull=True).first()
        if not isinstance(found, Person):
            raise ValidationError("There is no record with this code.")
        return found


class ActivityForm(forms.Form):
    """Why someone no longer comes."""

    reason = forms.CharField(label="Reason", max_length=200)


class EraseForm(forms.Form):
    """The reason, and the code typed out, so that nobody is erased by a slip."""

    reason = forms.ChoiceField(label="Reason", choices=EraseReason.choices)
    code = forms.CharField(
        label="Type the person's code", max_length=10, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )

    def __init__(self, *args: object, person: Person, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.person = person

    def clean_code(self) -> str:
        """The code of this person."""
        if read_code(str(self.cleaned_data["code"])) != self.person.code:
            raise ValidationError("This is not the code of this person.")
        return self.person.code
