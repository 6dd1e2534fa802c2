"""Exchange as a part of the clinic."""

from typing import ClassVar

from evenfield.clinic.access import Role
from evenfield.clinic.parts import ClinicPart, MenuEntry

_KEEPERS = frozenset({Role.LEAD, Role.OWNER})


class ExchangePart(ClinicPart):
    """What goes out about a person or a visit, and what is taken in from files."""

    name = "evenfield.clinic.exchange"
    label = "exchange"
    prefix = "exchange/"
    grants: ClassVar = {"exchange.send": _KEEPERS, "exchange.take_in": _KEEPERS}
    menu: ClassVar = (MenuEntry("Take in files", "take-in", "exchange.take_in", place=70),)

    def person_links(self) -> tuple[MenuEntry, ...]:
        """Handing over one person."""
        return (MenuEntry("Hand over", "send-person", "exchange.send"),)

    def visit_links(self) -> tuple[MenuEntry, ...]:
        """Handing over one visit."""
        return (MenuEntry("Hand over", "send-visit", "exchange.send"),)
