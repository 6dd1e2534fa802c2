"""People as a part of the clinic."""

from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart, Holding, HomeNote, MenuEntry

if TYPE_CHECKING:
    from evenfield.clinic.accounts.models import Account
    from evenfield.clinic.people.models import Person

_KEEPERS = frozenset({Role.LEAD, Role.OWNER})


class PeoplePart(ClinicPart):
    """Who is treated here."""

    name = "evenfield.clinic.people"
    label = "people"
    prefix = "people/"
    grants: ClassVar = {
        "people.view": CLINICAL,
        "people.change": CLINICAL,
        "people.merge": _KEEPERS,
        "people.deactivate": _KEEPERS,
        "people.export": _KEEPERS,
        "people.erase": frozenset({Role.OWNER}),
    }
    menu: ClassVar = (MenuEntry("People", "people", "people.view", place=10),)

    def home_notes(self, account: "Account") -> list[HomeNote]:
        """The way to the people."""
        from django.urls import reverse

        if not account.has_perm("people.view"):
            return []
        return [
            HomeNote("Find someone", "by name, code or date of birth", reverse("people")),
            HomeNote("Add someone", "a new client of the clinic", reverse("add-person")),
        ]

    def export_person(self, people: list["Person"]) -> Holding:
        """The records themselves."""
        from evenfield.clinic.people.holding import exported

        return exported(people)

    def erase_person(self, people: list["Person"]) -> None:
        """Blank the records and drop their names from the index."""
        from evenfield.clinic.people.holding import blank

        blank(people)

    def make_demonstration(self) -> None:
        """A handful of invented clients."""
        from evenfield.clinic.people.demonstration import make_people

        make_people()
