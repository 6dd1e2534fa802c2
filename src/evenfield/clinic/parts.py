"""A part of the clinic: a Django application that says what it adds to menu, permissions, export and demo."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from django.apps import AppConfig, apps
from django.db import transaction

from evenfield.clinic.access import Role

if TYPE_CHECKING:
    from evenfield.clinic.accounts.models import Account
    from evenfield.clinic.courses.models import Visit
    from evenfield.clinic.people.models import Person


@dataclass(frozen=True)
class MenuEntry:
    """One line of the menu: its words, the name of its route, the permission that shows it, and its place.

    Places run from 0 at the left; the daily work is below 50, upkeep above.
    """

    words: str
    route: str
    permission: str = ""
    place: int = 40


@dataclass(frozen=True)
class HomeNote:
    """One thing on the first page: a heading, a sentence, where it leads, whether it is pressing, and whether
    it belongs to setting the clinic up."""

    heading: str
    words: str
    address: str
    pressing: bool = False
    setting_up: bool = False


@dataclass(frozen=True)
class Holding:
    """What a part holds about one person: plain data for JSON, and files by name."""

    data: Any
    files: Mapping[str, bytes]


@dataclass(frozen=True)
class VisitNeed:
    """What one part asks for before a visit: its name, whether it is there, what to say, where to do it."""

    name: str
    met: bool
    words: str
    address: str


class ClinicPart(AppConfig):
    """Base of every part's AppConfig. What is left at its default adds nothing.

    Attributes:
        prefix: first piece of the part's addresses, "" for none.
        grants: each permission of the part and the roles that hold it.
        menu: entries for the menu, shown in the order of the parts.
    """

    default = False  # Django must not take the imported base for the part itself
    default_auto_field = "django.db.models.BigAutoField"
    prefix: ClassVar[str] = ""
    grants: ClassVar[Mapping[str, frozenset[Role]]] = {}
    menu: ClassVar[tuple[MenuEntry, ...]] = ()

    def __init_subclass__(cls, **kwargs: object) -> None:
        super().__init_subclass__(**kwargs)
        cls.default = True

    def home_notes(self, account: "Account") -> list["HomeNote"]:
        """What this part has to say on the first page of this account."""
        return []

    def person_links(self) -> tuple[MenuEntry, ...]:
        """Entries shown on a person's page; their routes take the person's code."""
        return ()

    def person_ways(self, account: "Account", people: list["Person"]) -> list[tuple[str, str]]:
        """Where the work with someone goes on just now: words and address."""
        return []

    def visit_links(self) -> tuple[MenuEntry, ...]:
        """Entries shown on a visit's page; their routes take the visit's number (its primary key)."""
        return ()

    def visit_needs(self, people: list["Person"], visits: list["Visit"]) -> Mapping[int, Sequence[VisitNeed]]:
        """What this part asks for before each of these visits of one person, by the visit's primary key.

        `people` are the kept record and those merged into it. A visit left out needs nothing from this part.
        """
        return {}

    def person_section(self, account: "Account", people: list["Person"]) -> tuple[str, Any] | None:
        """A template for the person's page, and what it shows under the name `section`; None for nothing."""
        return None

    def export_person(self, people: list["Person"]) -> Holding | None:
        """All this part holds about one person, given as the kept record and those merged into it."""
        return None

    def erase_person(self, people: list["Person"]) -> None:
        """Remove all personal content this part holds about one person; called inside the transaction."""

    def open_doors(self, account: "Account") -> list[str]:
        """What this part lets in without the account's password, in words."""
        return []

    def close_doors(self, account: "Account") -> None:
        """End all of it; called inside the transaction."""

    def make_demonstration(self) -> None:
        """Add this part's share of the invented clinic, once it has people, devices and courses."""


def clinic_parts() -> Iterator[ClinicPart]:
    """The parts in the order of INSTALLED_APPS."""
    for part in apps.get_app_configs():
        if isinstance(part, ClinicPart):
            yield part


def open_doors(account: "Account") -> list[str]:
    """What works for this account without its password, in words."""
    return [words for part in clinic_parts() for words in part.open_doors(account)]


def close_doors(account: "Account") -> list[str]:
    """End all that works without the account's password; what that was, in words."""
    with transaction.atomic():
        closed = open_doors(account)
        for part in clinic_parts():
            part.close_doors(account)
    return closed


def person_ways(account: "Account", people: list["Person"]) -> list[tuple[str, str]]:
    """Where the work with someone goes on just now, after what the page shown was for: words and address."""
    return [way for part in clinic_parts() for way in part.person_ways(account, people)]
