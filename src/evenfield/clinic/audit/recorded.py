"""A base for models whose every change goes into the trail, with what was there before and after."""

from collections.abc import Collection, Mapping
from typing import Any, ClassVar, NoReturn, Self

from django.db import models, transaction
from django.utils.crypto import salted_hmac

from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action

NOT_SHOWN = "(not shown)"
"""What stands in the trail for a secret; after it a digest keyed with the clinic's key, in newer entries."""


class RecordedQuerySet(models.QuerySet[Any]):
    """A query set that refuses changes which would bypass the trail."""

    def _refuse(self, *_: Any, **__: Any) -> NoReturn:
        raise TypeError(
            f"{self.model.__name__} is recorded: change one row at a time with save() or delete()."
        )

    update = bulk_create = bulk_update = delete = _refuse


class Recorded(models.Model):
    """Save and delete write to the trail in the same transaction, by the present actor.

    Attributes:
        unrecorded_fields: fields whose content never enters the trail (secrets); only that they changed does,
            with a keyed digest, so that one exchanged in the database is found.
        blank_when_erased: what these fields hold once the person of the row was erased.
    """

    unrecorded_fields: ClassVar[frozenset[str]] = frozenset()
    blank_when_erased: ClassVar[Mapping[str, Any]] = {}

    objects = models.Manager.from_queryset(RecordedQuerySet)()

    class Meta:
        abstract = True

    def subject_id(self) -> int | None:
        """Number of the person whose content this is; it decides what an erasure removes from the trail."""
        return None

    @classmethod
    def from_db(cls, db: str | None, field_names: Collection[str], values: Collection[Any]) -> Self:
        """Django's loader; keeps what was read, to tell later what changed."""
        row = super().from_db(db, field_names, values)
        row.__dict__["_as_read"] = row._content()
        return row

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Write the row, and one entry if anything changed."""
        adding = self._state.adding
        with transaction.atomic():
            super().save(*args, **kwargs)
            self._record(Action.CREATE if adding else Action.UPDATE)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        """Remove the row, and write an entry with what it held."""
        with transaction.atomic():
            trail.record(
                Action.DELETE,
                kind=self._meta.label_lower,
                object_id=self.pk,
                subject_id=self.subject_id(),
                before=self._shown(self._content()),
            )
            return super().delete(*args, **kwargs)

    def _record(self, action: Action) -> None:
        now, before = self._content(), self.__dict__.get("_as_read", {})
        changed = [name for name in now if action is Action.CREATE or now[name] != before.get(name)]
        if action is Action.UPDATE and not changed:
            return
        trail.record(
            action,
            kind=self._meta.label_lower,
            object_id=self.pk,
            subject_id=self.subject_id(),
            before=self._shown({name: before[name] for name in changed if name in before}),
            after=self._shown({name: now[name] for name in changed}),
        )
        self.__dict__["_as_read"] = now

    def _content(self) -> dict[str, Any]:
        return {
            field.attname: self.__dict__[field.attname]
            for field in self._meta.concrete_fields
            if field.attname in self.__dict__
        }

    def _shown(self, content: dict[str, Any]) -> dict[str, Any]:
        return {
            name: self.instead_of(name, value) if name in self.unrecorded_fields else value
            for name, value in content.items()
        }

    def instead_of(self, name: str, value: Any) -> str:
        """What the trail holds in the place of a secret: nothing that could be read or guessed without the
        clinic's key, and another text for another secret, row or field."""
        place = f"evenfield {self._meta.label_lower} {self.pk} {name}"
        return f"{NOT_SHOWN} {salted_hmac(place, str(value), algorithm='sha256').hexdigest()}"


def unrecorded(model: type[models.Model]) -> models.QuerySet[Any]:
    """All rows of a recorded model, changeable behind the trail: only to erase what it must not keep."""
    return models.QuerySet(model)
