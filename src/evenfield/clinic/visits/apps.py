"""The running visit as a part of the clinic."""

from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart, Holding, HomeNote, MenuEntry

if TYPE_CHECKING:
    from evenfield.clinic.accounts.models import Account
    from evenfield.clinic.people.models import Person


class VisitsPart(ClinicPart):
    """The live page of a visit, its entries, its closing and report."""

    name = "evenfield.clinic.visits"
    label = "visits"
    prefix = "visits/"
    grants: ClassVar = {
        "visits.view": CLINICAL,
        "visits.enter": CLINICAL,
        "visits.steps": frozenset({Role.LEAD, Role.OWNER}),
    }
    menu: ClassVar = (MenuEntry("Running", "running-visits", "visits.view", place=12),)

    def home_notes(self, account: "Account") -> list[HomeNote]:
        """How many visits are running."""
        from django.urls import reverse

        from evenfield.clinic.courses.models import Visit, VisitState

        number = Visit.objects.filter(state=VisitState.RUNNING).count()
        if not number or not account.has_perm("visits.view"):
            return []
        words = f"{number} visit{' is' if number == 1 else 's are'} running"
        return [HomeNote("Running now", words, reverse("running-visits"), pressing=True)]

    def person_ways(self, account: "Account", people: list["Person"]) -> list[tuple[str, str]]:
        """The visit that runs, or those of today that can begin."""
        from evenfield.clinic.visits.today import ways_to_visits

        return ways_to_visits(people) if account.has_perm("visits.view") else []

    def visit_links(self) -> tuple[MenuEntry, ...]:
        """The way from a visit to its live page or report."""
        return (MenuEntry("Live visit and report", "live-visit", "visits.view"),)

    def export_person(self, people: list["Person"]) -> Holding:
        """Every entry with its content."""
        from evenfield.clinic.visits.holding import exported

        return exported(people)

    def erase_person(self, people: list["Person"]) -> None:
        """Remove what was entered, and the models made from measurements."""
        from evenfield.clinic.visits.holding import erase

        erase(people)

    def make_demonstration(self) -> None:
        """A visit of today that can be begun, and what the invented clinic does about unwanted events."""
        from evenfield.clinic.visits.demonstration import make_visits

        make_visits()
