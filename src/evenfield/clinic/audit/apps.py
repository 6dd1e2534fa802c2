"""The trail as a part of the clinic."""

from typing import ClassVar

from django.db.models.signals import post_migrate

from evenfield.clinic.access import Role
from evenfield.clinic.parts import ClinicPart, MenuEntry


class AuditPart(ClinicPart):
    """Who did what, when and from where."""

    name = "evenfield.clinic.audit"
    label = "audit"
    prefix = "trail/"
    grants: ClassVar = {"audit.view": frozenset({Role.LEAD, Role.OWNER})}
    menu: ClassVar = (MenuEntry("Trail", "trail", "audit.view"),)

    def ready(self) -> None:
        """Keep append-only tables append-only after every migration."""
        from evenfield.clinic.audit.triggers import set_triggers

        post_migrate.connect(set_triggers, dispatch_uid="evenfield-append-only")
