"""Devices with the limits of their manuals, panels and rooms."""

from collections.abc import Callable

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from evenfield.clinic.access import Role
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.devices.models import Device, PanelProfile, TreatmentRoom

LIMITS = {"power_most_w": "200", "minutes_most": "45", "gap_least_mm": "8", "tuning_intended_percent": "80"}
NONE = dict.fromkeys(LIMITS, "")


def test_limits_need_the_manual_they_are_from(browser: Callable[..., Client]) -> None:
    client = browser(Role.LEAD)
    asked = {"name": "Invented device", "number": "7", "manual": " ", "profile": "", "in_use": "on"}
    page = client.post("/devices/device/add/", asked | LIMITS).content.decode()
    assert "Say which manual, in which edition" in page
    client.post("/devices/device/add/", asked | NONE)
    one = Device.objects.get()
    assert one.manual_limits == {}
    client.post(f"/devices/device/{one.pk}/", asked | LIMITS | {"manual": "Invented, edition 2"})
    one.refresh_from_db()
    assert one.manual_limits == {name: float(value) for name, value in LIMITS.items()}
    assert AuditEvent.objects.filter(action=Action.UPDATE, kind="devices.device").count() == 1
    assert "200 W" in client.get("/devices/").content.decode()


def test_a_profile_of_ones_own_begins_from_the_generic_one(browser: Callable[..., Client]) -> None:
    client = browser(Role.OWNER)
    text = client.get("/devices/generic/").content.decode()
    own = text.replace("generic = true", "generic = false").replace("value = 600", "value = 650")
    asked = {"name": "Invented device", "number": "", "manual": "", "in_use": "on"} | NONE
    client.post("/devices/device/add/", asked | {"profile": own})
    profile = Device.objects.get().device_profile()
    assert not profile.generic
    assert profile.length_m.value == pytest.approx(0.65)
    assert Device(name="another").device_profile().length_m.value == pytest.approx(0.6)
    wrong = own.replace("value = 650", "value = 900")  # above the "high" beside it
    page = client.post("/devices/device/add/", asked | {"name": "b", "profile": wrong}).content.decode()
    assert "900 is not between low 500 and high 700" in page
    assert Device.objects.count() == 1


@pytest.mark.parametrize(
    "wrong",
    [
        Device(name="d", power_most_w=0, manual="m"),
        Device(name="d", gap_least_mm=1, manual="m"),
        Device(name="d", tuning_intended_percent=101, manual="m"),
        PanelProfile(name="p", width_mm=10, length_mm=100),
        PanelProfile(name="p", width_mm=100, length_mm=100, shape="round"),
        TreatmentRoom(name="r", air_c=72),
    ],
)
def test_what_cannot_be_is_refused(wrong: Device, db: None) -> None:
    with pytest.raises(ValidationError):
        wrong.full_clean()


def test_what_is_out_of_use_is_offered_no_more(browser: Callable[..., Client], terminal: object) -> None:
    from evenfield.clinic.courses.forms import SlotForm

    old, new = TreatmentRoom(name="old", in_use=False), TreatmentRoom(name="new")
    for room in (old, new):
        room.save()
    assert ">new<" in str(SlotForm()["room"])
    assert ">old<" not in str(SlotForm()["room"])
