"""How every form is drawn, and the form about the clinic itself."""

from django import forms
from django.forms.renderers import DjangoTemplates

from evenfield.clinic.pages.models import Clinic
from evenfield.clinic.pages.zones import zone_names

LOCALES = [
    ("en-gb", "5 March 2031, 16:40"),
    ("en-us", "March 5, 2031, 4:40 p.m."),
]


def time_zones() -> list[tuple[str, str]]:
    """What a clinic chooses among, as value and as shown."""
    return [(name, name.replace("_", " ")) for name in zone_names()]


class ClinicFormRenderer(DjangoTemplates):
    """Draws forms and fields with the clinic's own templates."""

    form_template_name = "pages/forms/form.html"
    field_template_name = "pages/forms/field.html"


class ClinicForm(forms.ModelForm):  # type: ignore[type-arg]
    """What the owner may change about the clinic."""

    time_zone = forms.ChoiceField(label="Time zone", choices=time_zones)
    locale = forms.ChoiceField(label="Dates and times", choices=LOCALES)
    idle_minutes = forms.IntegerField(
        label="Lock screens after (minutes)",
        min_value=1,
        max_value=60,
        help_text="When nobody has touched the page for so long, it asks for the PIN.",
    )

    class Meta:
        model = Clinic
        fields = ("name", "time_zone", "locale", "length_unit", "idle_minutes")
        labels = {"name": "Name of the clinic", "length_unit": "Girths and weights in"}  # noqa: RUF012
