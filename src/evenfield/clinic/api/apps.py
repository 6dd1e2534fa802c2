"""The JSON API as a part of the clinic."""

from typing import ClassVar

from evenfield.clinic.access import CLINICAL, Role
from evenfield.clinic.parts import ClinicPart, MenuEntry


class ApiPart(ClinicPart):
    """Other programs read and add by personal tokens; the permissions asked for are those of the pages."""

    name = "evenfield.clinic.api"
    label = "api"
    prefix = "api/"
    grants: ClassVar = {"api.token": CLINICAL, "api.oversee": frozenset({Role.OWNER})}
    menu: ClassVar = (MenuEntry("Tokens", "api-tokens", "api.token", place=90),)
