"""Measuring as a part of the clinic."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import CLINICAL
from evenfield.clinic.parts import ClinicPart, Holding, MenuEntry, VisitNeed

if TYPE_CHECKING:
    from evenfield.clinic.courses.models import Visit
    from evenfield.clinic.people.models import Person


class MeasuringPart(ClinicPart):
    """Girths, fat thickness and weight, with the protocol beside every number."""

    name = "evenfield.clinic.measuring"
    label = "measuring"
    prefix = "measuring/"
    grants: ClassVar = {
        "measuring.view": CLINICAL,
        "measuring.measure": CLINICAL,
        "measuring.correct": CLINICAL,
    }

    def person_links(self) -> tuple[MenuEntry, ...]:
        """The way to a person's measurements."""
        return (MenuEntry("Measurements", "measurements", "measuring.view"),)

    def visit_needs(self, people: list["Person"], visits: list["Visit"]) -> Mapping[int, Sequence[VisitNeed]]:
        """Whether the region of each visit has been measured."""
        from evenfield.clinic.measuring.visits import needs

        return needs(people, visits)

    def export_person(self, people: list["Person"]) -> Holding:
        """Every entry with its content."""
        from evenfield.clinic.measuring.models import MeasureEntry

        rows = MeasureEntry.about([person.pk for person in people])
        data = [
            {"number": one.number, "at": one.at, "kind": one.kind, "roles": one.roles, **one.content}
            for one in reversed(rows)
        ]
        return Holding({"measurements": data}, {})

    def erase_person(self, people: list["Person"]) -> None:
        """Remove the numbers; that something was measured stays."""
        from evenfield.clinic.measuring.models import MeasureEntry

        MeasureEntry.forget([person.pk for person in people])

    def make_demonstration(self) -> None:
        """Invented measurements of the invented clients."""
        from evenfield.clinic.measuring.demonstration import make_measurements

        make_measurements()
