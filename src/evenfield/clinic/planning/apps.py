"""Planning as a part of the clinic."""

from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import CLINICAL
from evenfield.clinic.parts import ClinicPart, Holding, MenuEntry

if TYPE_CHECKING:
    from evenfield.clinic.people.models import Person


class PlanningPart(ClinicPart):
    """From what was measured to a forecast, what-ifs, and the plan of a visit."""

    name = "evenfield.clinic.planning"
    label = "planning"
    prefix = "planning/"
    grants: ClassVar = {"planning.use": CLINICAL}

    def person_links(self) -> tuple[MenuEntry, ...]:
        """The way to a person's plans."""
        return (MenuEntry("Planning", "plan-person", "planning.use"),)

    def visit_links(self) -> tuple[MenuEntry, ...]:
        """The way to plan a visit."""
        return (MenuEntry("Plan this visit", "plan-visit", "planning.use"),)

    def export_person(self, people: list["Person"]) -> Holding:
        """Every version of every plan."""
        from evenfield.clinic.planning.holding import exported

        return exported(people)

    def erase_person(self, people: list["Person"]) -> None:
        """Blank the plans, remove what was computed from them."""
        from evenfield.clinic.planning.holding import erase

        erase(people)

    def make_demonstration(self) -> None:
        """A plan that waits for its forecast."""
        from evenfield.clinic.planning.demonstration import make_plan

        make_plan()
