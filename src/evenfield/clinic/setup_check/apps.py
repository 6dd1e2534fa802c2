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
        """One invented set-up, half way, with a line skipped."""
        from evenfield.clinic.people.models import Person
        from evenfield.clinic.setup_check.runs import begin, tick

        person = Person.objects.get(family_name="Pallandér")
        run = begin(person)
        tick(person, run.number, "metal_off", done=True)
        tick(person, run.number, "couch_covered", done=False, reason="Invented: this couch holds no metal.")
