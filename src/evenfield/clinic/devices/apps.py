"""Devices, panels and rooms as a part of the clinic."""

from typing import ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart, MenuEntry


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

    def make_demonstration(self) -> None:
        """Invented rooms, devices and panels."""
        from evenfield.clinic.devices.demonstration import make_devices

        make_devices()
