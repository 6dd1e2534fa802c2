"""Two records of one person become one, without moving or losing anything either of them holds."""

from collections.abc import Mapping

from django.db import transaction

from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.people.models import Person

CHOSEN_FIELDS = ("given_name", "family_name", "other_names", "born", "phone", "email", "note")


class MergeError(Exception):
    """These two cannot be merged; the message is one clear sentence."""


def merge(kept: Person, other: Person, from_other: Mapping[str, bool]) -> None:
    """Make `other` part of `kept`; fields named true are taken from `other`.

    The other record stays, switched off and pointing to the kept one, so that rows which may never be changed
    (events of visits) stay as they are. Its name is added to the kept record's other names.
    """
    if kept.pk == other.pk:
        raise MergeError("A record cannot be merged with itself.")
    if any(one.merged_into_id or one.erased for one in (kept, other)):
        raise MergeError("One of the two was merged or erased before.")
    with transaction.atomic():
        former = {kept.full_name, other.full_name}
        for field in CHOSEN_FIELDS:
            if from_other.get(field):
                setattr(kept, field, getattr(other, field))
        held = [name.strip() for name in kept.other_names.split(",") if name.strip()]
        kept.other_names = ", ".join(dict.fromkeys([*held, *sorted(former - {kept.full_name})]))[:200]
        kept.hold_reason = kept.hold_reason or other.hold_reason
        kept.active = kept.active or other.active
        kept.save()
        for earlier in other.merged.all():
            earlier.merged_into = kept
            earlier.save()
        other.merged_into, other.active, other.inactive_reason = kept, False, "merged"
        other.save()
        for one in (kept, other):
            trail.record(
                Action.MERGE,
                kind="people.person",
                object_id=one.pk,
                subject_id=one.pk,
                note=f"{other.shown_code} into {kept.shown_code}",
            )
