"""The look and the general pages as a part of the clinic."""

from typing import ClassVar

from evenfield.clinic.access import Role
from evenfield.clinic.parts import ClinicPart, MenuEntry


class PagesPart(ClinicPart):
    """Base templates, style, first page, settings."""

    name = "evenfield.clinic.pages"
    label = "pages"
    grants: ClassVar = {"pages.settings": frozenset({Role.OWNER})}
    menu: ClassVar = (MenuEntry("Settings", "clinic-settings", "pages.settings", place=80),)

    def ready(self) -> None:
        """Say of bad input what is allowed."""
        from evenfield.clinic.pages.messages import install

        super().ready()
        install()

    def make_demonstration(self) -> None:
        """Name the invented clinic."""
        from evenfield.clinic.pages.models import Clinic

        Clinic(name="Harbour Lane (invented)", time_zone="Europe/Lisbon", locale="en-gb").save()
