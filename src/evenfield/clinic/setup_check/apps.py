"""The set-up before a visit as a part of the clinic."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import CLINICAL
from evenfield.clinic.parts import ClinicPart, Holding, MenuEntry, VisitNeed

if TYPE_CHECKING:
    from evenfield.clinic.courses.models import Visit
    from evenfield.clinic.people.models import Person


class SetupCheckPart(ClinicPart):
    """The checklist before a visit; ticks carry who and when."""

    name = "evenfield.clinic.setup_check"
    label = "setup_check"
    prefix = "set-up/"
    grants: ClassVar = {"setup.view": CLINICAL, "setup.tick": CLINICAL}

    def person_links(self) -> tuple[MenuEntry, ...]:
        """The way to the checklist."""
        return (MenuEntry("Set-up before a visit", "setup-check", "setup.view"),)

    def visit_needs(self, people: list["Person"], visits: list["Visit"]) -> Mapping[int, Sequence[VisitNeed]]:
        """Whether the set-up is there for each visit."""
        from evenfield.clinic.setup_check.visits import needs

        return needs(people, visits)

    def export_person(self, people: list["Person"]) -> Holding:
        """Every entry with its content."""
        from evenfield.clinic.setup_check.models import SetupEntry

        entries = SetupEntry.about([person.pk for person in people])
        data = [
            {"number": one.number, "at": one.at, "kind": one.kind, "roles": one.roles, **one.content}
            for one in reversed(entries)
        ]
        return Holding({"set-ups": data}, {})

    def erase_person(self, people: list["Person"]) -> None:
        """Remove the content; that something was ticked stays."""
        from evenfield.clinic.setup_check.models import SetupEntry

        SetupEntry.forget([person.pk for person in people])

    def make_demonstration(self) -> None:
        """Invented set-ups before past visits, and one of today half way."""
        from evenfield.clinic.setup_check.demonstration import make_setups

        make_setups()
