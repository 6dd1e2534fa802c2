"""The trail as a part of the clinic."""

from typing import TYPE_CHECKING, ClassVar

from django.db.models.signals import post_migrate

from evenfield.clinic.access import Role
from evenfield.clinic.parts import ClinicPart, Holding, MenuEntry

if TYPE_CHECKING:
    from evenfield.clinic.people.models import Person


class AuditPart(ClinicPart):
    """Who did what, when and from where."""

    name = "evenfield.clinic.audit"
    label = "audit"
    prefix = "trail/"
    grants: ClassVar = {"audit.view": frozenset({Role.LEAD, Role.OWNER})}
    menu: ClassVar = (MenuEntry("Trail", "trail", "audit.view", place=90),)

    def ready(self) -> None:
        """Keep append-only tables append-only after every migration."""
        from evenfield.clinic.audit.triggers import set_triggers

        post_migrate.connect(set_triggers, dispatch_uid="evenfield-append-only")

    def export_person(self, people: list["Person"]) -> Holding:
        """Who looked at or changed the record, when, in which role; not the names of staff."""
        from evenfield.clinic.audit.models import AuditEvent

        events = AuditEvent.objects.filter(subject_id__in=[person.pk for person in people]).order_by("number")
        return Holding(
            {"trail": list(events.values("number", "at", "action", "kind", "fields", "roles"))}, {}
        )
