"""Devices, panels and rooms as a part of the clinic."""

from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart, HomeNote, MenuEntry

if TYPE_CHECKING:
    from evenfield.clinic.accounts.models import Account


class DevicesPart(ClinicPart):
    """What the clinic works with, and the limits its manuals give."""

    name = "evenfield.clinic.devices"
    label = "devices"
    prefix = "devices/"
    grants: ClassVar = {
        "devices.view": CLINICAL | {Role.TRAINER},
        "devices.change": frozenset({Role.LEAD, Role.OWNER}),
    }
    menu: ClassVar = (MenuEntry("Devices", "devices", "devices.view", place=60),)

    def home_notes(self, account: "Account") -> list[HomeNote]:
        """For the owner: what is not entered yet."""
        from django.urls import reverse

        from evenfield.clinic.devices.models import Device, TreatmentRoom

        if Role.OWNER not in account.roles:
            return []
        found, address = [], reverse("devices")
        devices = list(Device.objects.filter(in_use=True))
        bare = sum(not device.manual_limits for device in devices)
        if not devices:
            words = "enter the clinic's device and the limits of its manual"
            found.append(HomeNote("Devices", words, address, setting_up=True))
        elif bare:
            words = f"{bare} of {len(devices)} in use without the limits of the manual"
            found.append(HomeNote("Devices", words, address, setting_up=True))
        if not TreatmentRoom.objects.filter(in_use=True).exists():
            found.append(HomeNote("Rooms", "enter the rooms of the visits", address, setting_up=True))
        return found

    def make_demonstration(self) -> None:
        """Invented rooms, devices and panels."""
        from evenfield.clinic.devices.demonstration import make_devices

        make_devices()
