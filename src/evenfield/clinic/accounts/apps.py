"""Accounts as a part of the clinic."""

from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import Role
from evenfield.clinic.parts import ClinicPart, HomeNote, MenuEntry

if TYPE_CHECKING:
    from evenfield.clinic.accounts.models import Account


class AccountsPart(ClinicPart):
    """Who works here, how they sign in, on which devices."""

    name = "evenfield.clinic.accounts"
    label = "accounts"
    grants: ClassVar = {"accounts.manage": frozenset({Role.OWNER})}
    menu: ClassVar = (MenuEntry("Staff", "staff", "accounts.manage", place=70),)

    def home_notes(self, account: "Account") -> list[HomeNote]:
        """For the owner: that nobody could lift a refusal."""
        from django.urls import reverse

        from evenfield.clinic.accounts.models import Account as Accounts

        if Role.OWNER not in account.roles:
            return []
        if any(Role.LEAD in one.roles for one in Accounts.objects.filter(is_active=True)):
            return []
        words = "nobody is lead clinician; without one no refusal of a visit can be lifted"
        return [HomeNote("Staff", words, reverse("staff"), pressing=True, setting_up=True)]

    def make_demonstration(self) -> None:
        """Four invented members of staff."""
        from evenfield.clinic.accounts.demonstration import make_staff

        make_staff()
