"""The JSON API as a part of the clinic."""

from typing import TYPE_CHECKING, ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart, MenuEntry

if TYPE_CHECKING:
    from evenfield.clinic.accounts.models import Account


class ApiPart(ClinicPart):
    """Other programs read and add by personal tokens; the permissions asked for are those of the pages."""

    name = "evenfield.clinic.api"
    label = "api"
    prefix = "api/"
    grants: ClassVar = {"api.token": CLINICAL, "api.oversee": frozenset({Role.OWNER})}
    menu: ClassVar = (MenuEntry("Tokens", "api-tokens", "api.token", place=90),)

    def open_doors(self, account: "Account") -> list[str]:
        """The account's tokens."""
        from evenfield.clinic.api.tokens import working_tokens

        return [f"the token “{token.name}”" for token in working_tokens(account)]

    def close_doors(self, account: "Account") -> None:
        """End them."""
        from evenfield.clinic.api.tokens import end_token, working_tokens

        for token in working_tokens(account):
            end_token(token)
