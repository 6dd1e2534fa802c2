"""Forms of the photographs."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from evenfield.body import RegionKind
from evenfield.clinic.measuring.plan import REGION_WORDS, sides_of
from evenfield.clinic.measuring.units import TypedError, TypedUnit
from evenfield.clinic.photographs.album import POSTURES, VIEWS
from evenfield.clinic.photographs.picture import MOST_BYTES, Picture, PictureError, read_picture

_METRE = TypedUnit("m", 1.0, 2)
_FURTHEST_M = 10.0
_KEPT = ("region", "side", "view", "posture", "light", "note")


class PhotographForm(forms.Form):
    """One photograph and how it was taken."""

    file = forms.FileField(
        label="Picture",
        help_text="JPEG, PNG or WebP. Only the pixels are kept: place, time and camera are removed.",
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )
    region = forms.ChoiceField(
        label="Region", choices=[(kind.value, REGION_WORDS[kind].capitalize()) for kind in RegionKind]
    )
    side = forms.ChoiceField(
        label="Side",
        choices=[("left", "Left"), ("right", "Right"), ("", "None or both")],
        widget=forms.RadioSelect,
        required=False,
        initial="",
    )
    view = forms.ChoiceField(
        label="Taken", choices=[(name, words.capitalize()) for name, words in VIEWS.items()]
    )
    posture = forms.ChoiceField(
        label="Posture", choices=[(name, words.capitalize()) for name, words in POSTURES.items()]
    )
    distance = forms.CharField(
        label="Distance from lens to skin (m)",
        max_length=8,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    light = forms.CharField(
        label="Light", max_length=200, help_text="Which lamps, blinds, where the light comes from."
    )
    note = forms.CharField(label="Note", max_length=500, required=False)
    agreed = forms.BooleanField(label="The client agrees to this photograph being kept")

    picture: Picture

    def clean_file(self) -> UploadedFile:
        """Read it and keep the pixels only."""
        sent: UploadedFile = self.cleaned_data["file"]
        if sent.size is None or sent.size > MOST_BYTES:
            raise forms.ValidationError(f"The file is larger than {MOST_BYTES // 1024**2} MB.")
        try:
            self.picture = read_picture(sent.read())
        except PictureError as error:
            raise forms.ValidationError(str(error)) from None
        return sent

    def clean_distance(self) -> float:
        """Metres."""
        try:
            distance = _METRE.read(self.cleaned_data["distance"])
        except TypedError as error:
            raise forms.ValidationError(str(error)) from None
        if distance > _FURTHEST_M:
            raise forms.ValidationError(
                f"At most {_FURTHEST_M:g} m is expected: was it typed in centimetres?"
            )
        return distance

    def clean(self) -> None:
        """A side only where there are two."""
        region = self.cleaned_data.get("region")
        if region and self.cleaned_data.get("side") and not sides_of(RegionKind(region)):
            self.add_error("side", "This region has no side.")

    def said(self) -> dict[str, Any]:
        """What is kept beside the picture."""
        told = {name: self.cleaned_data[name] for name in _KEPT}
        return {**told, "distance_m": self.cleaned_data["distance"]}


class WithdrawForm(forms.Form):
    """Why a photograph is withdrawn."""

    reason = forms.CharField(
        label="Reason", min_length=10, max_length=500, widget=forms.Textarea(attrs={"rows": 3})
    )
