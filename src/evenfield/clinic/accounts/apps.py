"""Accounts as a part of the clinic."""

from typing import ClassVar

from evenfield.clinic.access import Role
from evenfield.clinic.parts import ClinicPart, MenuEntry


class AccountsPart(ClinicPart):
    """Who works here, how they sign in, on which devices."""

    name = "evenfield.clinic.accounts"
    label = "accounts"
    grants: ClassVar = {"accounts.manage": frozenset({Role.OWNER})}
    menu: ClassVar = (MenuEntry("Staff", "staff", "accounts.manage", place=70),)

    def make_demonstration(self) -> None:
        """Four invented members of staff."""
        from evenfield.clinic.accounts.demonstration import make_staff

        make_staff()
