"""Append-only rows about a person: who and when in the chain, the content beside it so that it can be erased.

A part derives one model from `KeptRow`, and one from `KeptContent` with a one-to-one field `row` to it
(related name "kept"). The row holds no personal content: whose it is, what kind, by whom, a salted digest.
"""

import json
import secrets
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, ClassVar, Self

from django.db import models, transaction
from django.utils.functional import cached_property

from evenfield.clinic.audit import trail
from evenfield.clinic.audit.actor import present_actor
from evenfield.clinic.audit.chain import ChainedRow, canonical
from evenfield.clinic.audit.invented import invented_moment
from evenfield.clinic.audit.models import Action, AuditEvent


class KeptContent(models.Model):
    """What a row says, with the salt of its digest; removed when its subject is erased."""

    append_only: ClassVar[str] = "after erasure"

    subject_id = models.BigIntegerField(db_index=True)
    salt = models.CharField(max_length=64)
    content = models.TextField()

    class Meta:
        abstract = True


class KeptRow(ChainedRow):
    """One entry about one person, never changed."""

    content_model: ClassVar[type[KeptContent]]

    kind = models.CharField(max_length=20)
    subject_id = models.BigIntegerField(db_index=True)
    actor_id = models.BigIntegerField(null=True)
    actor = models.CharField(max_length=150)
    roles = models.CharField(max_length=100, blank=True)
    content_digest = models.CharField(max_length=64)

    class Meta:
        abstract = True

    @classmethod
    def keep(cls, kind: str, subject_id: int, content: Mapping[str, Any], **columns: Any) -> Self:
        """Add an entry by the present actor, and a line in the trail. `content` is plain data for JSON;
        `columns` are further fields of the part's own row, free of personal content."""
        actor = present_actor()
        text, salt = canonical(content), secrets.token_hex(32)
        with transaction.atomic():
            row = cls.append(
                at=invented_moment(),
                kind=kind,
                subject_id=subject_id,
                actor_id=actor.account,
                actor=actor.name,
                roles=actor.roles,
                content_digest=trail.salted_digest(salt, text),
                **columns,
            )
            beside = {"row": row, "subject_id": subject_id, "salt": salt, "content": text}
            cls.content_model._default_manager.create(**beside)
            trail.record(
                Action.CREATE,
                kind=cls._meta.label_lower,
                object_id=row.number,
                subject_id=subject_id,
                note=kind,
            )
        return row

    @classmethod
    def about(cls, subjects: Sequence[int]) -> list[Self]:
        """All entries about these numbers of persons that still have their content, newest first."""
        every: Any = cls._default_manager
        found = every.filter(subject_id__in=subjects, kept__isnull=False)
        return list(found.select_related("kept").order_by("-number"))

    @classmethod
    def forget(cls, subjects: Sequence[int]) -> None:
        """Remove the content about erased persons; the database refuses it before the trail says so."""
        cls.content_model._default_manager.filter(subject_id__in=subjects).delete()

    @cached_property
    def content(self) -> dict[str, Any]:
        """What was said, read once: entries never change; empty after erasure."""
        kept = getattr(self, "kept", None)
        content: dict[str, Any] = json.loads(kept.content) if kept else {}
        return content

    @classmethod
    def broken_links(cls) -> Iterator[str]:
        """As of every chain, and every content that was changed, or removed without an erasure."""
        yield from super().broken_links()
        table = cls.content_model._meta.db_table
        erasures = AuditEvent.objects.filter(action=Action.ERASE, subject_id__isnull=False)
        erased = set(erasures.values_list("subject_id", flat=True))
        every: Any = cls._default_manager  # the relation "kept" is known only once a part has its two models
        rows = every.order_by("number").select_related("kept")
        for row in rows.iterator(chunk_size=2000):
            kept: KeptContent | None = getattr(row, "kept", None)
            if kept is None:
                if row.subject_id not in erased:
                    yield f"{table}: content of entry {row.number} was removed without an erasure."
            elif row.subject_id in erased:
                yield f"{table}: entry {row.number} still holds content of an erased subject."
            elif trail.salted_digest(kept.salt, kept.content) != row.content_digest:
                yield f"{table}: content of entry {row.number} was changed."
            elif kept.subject_id != row.subject_id:
                yield f"{table}: entry {row.number} was given another subject."
