"""Forms about devices, panels and rooms."""

from typing import ClassVar

from django import forms

from evenfield.clinic.devices.models import Device, PanelProfile, TreatmentRoom

_STEP = {"step": "any", "inputmode": "decimal"}


def _plain(*names: str) -> dict[str, forms.Widget]:
    return {name: forms.TextInput(attrs={"autocomplete": "off"}) for name in names}


def _numbers(*names: str) -> dict[str, forms.Widget]:
    return {name: forms.NumberInput(attrs=_STEP) for name in names}


class DeviceForm(forms.ModelForm):  # type: ignore[type-arg]
    """A device and what its manual limits."""

    class Meta:
        model = Device
        fields = (
            "name", "number", "manual", "power_most_w", "minutes_most", "gap_least_mm",
            "tuning_intended_percent", "profile", "in_use",
        )  # fmt: skip
        widgets: ClassVar = {
            **_plain("name", "number", "manual"),
            **_numbers("power_most_w", "minutes_most", "gap_least_mm", "tuning_intended_percent"),
            "profile": forms.Textarea(attrs={"class": "code", "rows": 8, "spellcheck": "false"}),
        }


class PanelForm(forms.ModelForm):  # type: ignore[type-arg]
    """A kind of panel."""

    class Meta:
        model = PanelProfile
        fields = ("name", "device", "shape", "width_mm", "length_mm", "in_use")
        widgets: ClassVar = {**_plain("name"), **_numbers("width_mm", "length_mm")}


class RoomForm(forms.ModelForm):  # type: ignore[type-arg]
    """A room."""

    class Meta:
        model = TreatmentRoom
        fields = ("name", "air_c", "air_speed_m_s", "in_use")
        widgets: ClassVar = {**_plain("name"), **_numbers("air_c", "air_speed_m_s")}
