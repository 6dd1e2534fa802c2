"""Writing to the trail, and checking that nobody touched it."""

import hashlib
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import models, transaction

from evenfield.clinic.audit import anchor
from evenfield.clinic.audit.actor import present_actor
from evenfield.clinic.audit.anchor import Anchor, AnchorError
from evenfield.clinic.audit.chain import ChainedRow, canonical
from evenfield.clinic.audit.models import Action, AuditDetail, AuditEvent
from evenfield.clinic.audit.triggers import missing_triggers


def record(
    action: Action,
    *,
    kind: str = "",
    object_id: object = "",
    subject_id: int | None = None,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    note: str = "",
) -> AuditEvent:
    """Add one entry by the present actor.

    `before` and `after` may hold personal content: they are kept beside the chain, which has a salted digest.
    `note` goes into the chain and must never hold personal content or a secret.
    """
    actor = present_actor()
    content = canonical({"before": before or {}, "after": after or {}}) if before or after else ""
    salt = secrets.token_hex(32) if content else ""
    with transaction.atomic():
        event = AuditEvent.append(
            action=action.value,
            actor_id=actor.account,
            actor=actor.name,
            roles=actor.roles,
            address=actor.address,
            device_id=actor.device,
            kind=kind,
            object_id=str(object_id),
            subject_id=subject_id,
            fields=" ".join(sorted({*(before or {}), *(after or {})})),
            note=note,
            detail_digest=salted_digest(salt, content) if content else "",
        )
        if content:
            AuditDetail.objects.create(event=event, subject_id=subject_id, salt=salt, content=content)
    return event


def forget_details(subject_id: int) -> int:
    """Remove before and after of everything recorded about an erased subject; returns how many entries.

    The database refuses this unless the trail already holds the erasure of that subject.
    """
    return AuditDetail.objects.filter(subject_id=subject_id).delete()[0]


def salted_digest(salt: str, content: str) -> str:
    """SHA-256 of content that may be erased; without the salt, which goes with it, nothing can be guessed."""
    return hashlib.sha256(f"{salt}{content}".encode()).hexdigest()


@dataclass(frozen=True)
class Verification:
    """What `verify_chain` found: how many rows were read, and every problem as a sentence."""

    rows: int
    problems: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether nothing was found."""
        return not self.problems


def verify_chain() -> Verification:
    """Read every chain and find any edit, removal or reordering made behind the application's back."""
    chains = _chains()
    problems: list[str] = []
    for chain in chains:
        try:
            problems.extend(chain.broken_links())
        except AnchorError as error:
            problems.append(f"{chain._meta.db_table}: {error}")
    problems.extend(_broken_details())
    problems.extend(missing_triggers())
    return Verification(sum(chain._default_manager.count() for chain in chains), tuple(problems))


def take_later_rows() -> int:
    """Make known to the anchor the rows after it, as of a backup taken while others wrote; how many.

    A file that knows nothing of a chain, or was altered, stays as it is for `verify_chain` to tell.
    """
    later, anchors = 0, {}
    for chain in _chains():
        try:
            end, anchored = chain.end_and_anchor()
        except AnchorError:
            return 0
        if anchored is not None:
            if end.number > anchored.kept.number and not anchored.knows(end):
                later += end.number - anchored.kept.number
                anchored = Anchor(anchored.kept, end)
            anchors[chain._meta.db_table] = anchored
    if later:
        anchor.replace(anchors)
    return later


def anchor_anew() -> None:
    """Note where every chain ends now, whatever the anchor said; for restoring, which is itself recorded."""
    with transaction.atomic():
        ends = {chain._meta.db_table: chain.held_end() for chain in _chains()}
        anchor.replace({table: Anchor(end, end) for table, end in ends.items() if end.number})


def _chains() -> list[type[ChainedRow]]:
    return [model for model in apps.get_models() if issubclass(model, ChainedRow)]


def _broken_details() -> Iterator[str]:
    erasures = AuditEvent.objects.filter(action=Action.ERASE, subject_id__isnull=False).order_by("number")
    erased = dict(erasures.values_list("subject_id", "number"))
    events: models.QuerySet[AuditEvent, tuple[Any, ...]] = AuditEvent.objects.order_by("number").values_list(
        "number", "subject_id", "detail_digest", "detail__salt", "detail__content", "detail__subject_id"
    )
    for number, subject, digest, salt, content, detail_subject in events.iterator(chunk_size=2000):
        if content is None:
            if digest and erased.get(subject or 0, 0) < number:
                yield f"audit_auditdetail: content of entry {number} was removed without an erasure."
        elif not digest or salted_digest(salt, content) != digest:
            yield f"audit_auditdetail: content of entry {number} was changed."
        elif detail_subject != subject:
            yield f"audit_auditdetail: entry {number} was given another subject."
        elif erased.get(subject or 0, 0) > number:
            yield f"audit_auditdetail: entry {number} still holds content of an erased subject."
