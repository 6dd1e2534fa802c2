"""Screening as a part of the clinic."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart, Holding, HomeNote, MenuEntry, VisitNeed

if TYPE_CHECKING:
    from evenfield.clinic.accounts.models import Account
    from evenfield.clinic.courses.models import Visit
    from evenfield.clinic.people.models import Person


class ScreeningPart(ClinicPart):
    """Questions before a visit, the decision of a lead clinician, consent, and the sheet to take home."""

    name = "evenfield.clinic.screening"
    label = "screening"
    prefix = "screening/"
    grants: ClassVar = {
        "screening.view": CLINICAL,
        "screening.ask": CLINICAL,
        "screening.decide": frozenset({Role.LEAD}),
        "screening.text": frozenset({Role.LEAD, Role.OWNER}),
    }
    menu: ClassVar = (
        MenuEntry("Consent text", "consent-text", "screening.text", place=80),
        MenuEntry("Screening questions", "screening-questions", "screening.text", place=81),
    )

    def home_notes(self, account: "Account") -> list[HomeNote]:
        """A reminder while the text to sign is the shipped example."""
        from django.urls import reverse

        from evenfield.clinic.screening.consent import present_text

        if not account.has_perm("screening.text") or not present_text().example:
            return []
        words = "the text to sign is still the shipped example; put your own in its place"
        return [HomeNote("Consent text", words, reverse("consent-text"), pressing=True, setting_up=True)]

    def person_links(self) -> tuple[MenuEntry, ...]:
        """The way to a person's screening."""
        return (MenuEntry("Screening and consent", "screening", "screening.view"),)

    def visit_needs(self, people: list["Person"], visits: list["Visit"]) -> Mapping[int, Sequence[VisitNeed]]:
        """Whether screening and consent are there for each visit."""
        from evenfield.clinic.screening.visits import needs

        return needs(people, visits)

    def export_person(self, people: list["Person"]) -> Holding:
        """Every entry with its content."""
        from evenfield.clinic.screening.models import ScreeningEntry

        entries = ScreeningEntry.about([person.pk for person in people])
        data = [
            {"number": one.number, "at": one.at, "kind": one.kind, "roles": one.roles, **one.content}
            for one in reversed(entries)
        ]
        return Holding({"screening": data}, {})

    def erase_person(self, people: list["Person"]) -> None:
        """Remove the content; that something was asked stays."""
        from evenfield.clinic.screening.models import ScreeningEntry

        ScreeningEntry.forget([person.pk for person in people])

    def make_demonstration(self) -> None:
        """Invented answers and consents."""
        from evenfield.clinic.screening.demonstration import make_screenings

        make_screenings()
