"""Photographs as a part of the clinic."""

from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart, Holding, MenuEntry

if TYPE_CHECKING:
    from evenfield.clinic.people.models import Person


class PhotographsPart(ClinicPart):
    """Photographs of a region in the same pose over the visits."""

    name = "evenfield.clinic.photographs"
    label = "photographs"
    prefix = "photographs/"
    grants: ClassVar = {
        "photographs.view": CLINICAL,
        "photographs.take": CLINICAL,
        "photographs.withdraw": frozenset({Role.LEAD, Role.OWNER}),
    }

    def person_links(self) -> tuple[MenuEntry, ...]:
        """The way to a person's photographs."""
        return (MenuEntry("Photographs", "photographs", "photographs.view"),)

    def export_person(self, people: list["Person"]) -> Holding:
        """Every entry with its content, and the pictures that were not withdrawn."""
        from evenfield.clinic.photographs.holding import exported

        return exported(people)

    def erase_person(self, people: list["Person"]) -> None:
        """Remove the content, and the pictures once that is certain."""
        from evenfield.clinic.photographs.holding import erase

        erase(people)

    def make_demonstration(self) -> None:
        """Drawn pictures of nobody."""
        from evenfield.clinic.photographs.demonstration import make_photographs

        make_photographs()
