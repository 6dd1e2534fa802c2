"""The rows of the record against what the trail last said of them.

The chain shows that nobody touched the trail. What it tells of can still be changed behind it, in the
database itself: a date of birth, the plan of a visit, the limits of a device. Each row is therefore
compared, field by field, with the last value that the trail recorded; a row that the trail does not
know, and one that is gone without its removal being recorded, are found as well; so are entries about
people (`KeptRow`) that the trail and their own chain do not both know. Of secrets the trail holds a keyed
digest, which is compared where an entry has one. What was erased must be blank.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator
from hashlib import blake2b
from typing import Any

from django.apps import apps
from django.db import models

from evenfield.clinic.audit.chain import canonical
from evenfield.clinic.audit.kept import KeptRow
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.audit.recorded import NOT_SHOWN, Recorded
from evenfield.clinic.audit.trail import Verification, verify_chain

_MARK = 8  # bytes kept of the digest of a value: some 200 bytes of memory a row
_NONE = bytes(_MARK)
_NAMED = 20  # problems told one by one, for each table


def verify_record() -> Verification:
    """The chains (`trail.verify_chain`), and the rows against what the trail last said of them."""
    chains = verify_chain()
    return Verification(chains.rows, (*chains.problems, *rows_unlike_the_trail()))


def rows_unlike_the_trail() -> list[str]:
    """Every row of a recorded model that is not as the trail left it, as a sentence."""
    kinds = [model for model in apps.get_models() if issubclass(model, Recorded)]
    known = _last_recorded({model._meta.label_lower: model for model in kinds})
    erasures = AuditEvent.objects.filter(action=Action.ERASE, subject_id__isnull=False)
    erased = frozenset(erasures.values_list("subject_id", flat=True))
    found = {model: list(_unlike(model, known[model._meta.label_lower], erased)) for model in kinds}
    kept = {model: list(_kept_unlike(model)) for model in apps.get_models() if issubclass(model, KeptRow)}
    return [problem for model, told in (found | kept).items() for problem in _shortened(model, told)]


def _shortened(model: type[models.Model], found: list[str]) -> Iterator[str]:
    yield from found[:_NAMED]
    if len(found) > _NAMED:
        yield f"{model._meta.db_table}: {len(found) - _NAMED} more like these."


def _kept_unlike(model: type[KeptRow]) -> Iterator[str]:
    """Entries without the line of the trail that was written with them, and lines without their entry."""
    table = model._meta.db_table
    last = model._default_manager.aggregate(last=models.Max("number"))["last"] or 0
    told = bytearray(last + 1)
    lines = AuditEvent.objects.filter(kind=model._meta.label_lower, action=Action.CREATE).exclude(
        object_id=""
    )
    for text in lines.order_by("number").values_list("object_id", flat=True).iterator(chunk_size=2000):
        number = int(text) if text.isdigit() else 0
        if 1 <= number <= last:
            told[number] = True
        else:
            yield f"{table}: entry {text} was removed behind the trail."
    yield from (f"{table}: entry {number} was added behind the trail." for number in _unset(told))


def _unset(told: bytearray) -> Iterator[int]:
    place = told.find(0, 1)
    while place > 0:
        yield place
        place = told.find(0, place + 1)


def _unlike(
    model: type[Recorded], known: dict[str, bytearray], erased: frozenset[int | None]
) -> Iterator[str]:
    table = model._meta.db_table
    for row in model._default_manager.order_by("pk").iterator(chunk_size=2000):
        marks = known.pop(str(row.pk), None)
        if marks is None:
            yield f"{table}: row {row.pk} was added behind the trail."
            continue
        for place, field in enumerate(_fields(model)):
            mark = bytes(marks[place * _MARK : (place + 1) * _MARK])
            if mark not in (_NONE, _mark(field, _held(row, field.attname))):
                yield f"{table}: {field.attname} of row {row.pk} is not what the trail last recorded."
        if model.blank_when_erased and row.subject_id() in erased:
            for name, blank in model.blank_when_erased.items():
                if getattr(row, name) != blank:
                    yield f"{table}: {name} of row {row.pk} is not blank, though the person was erased."
    for number in known:
        yield f"{table}: row {number} was removed behind the trail."


def _last_recorded(kinds: dict[str, type[Recorded]]) -> defaultdict[str, dict[str, bytearray]]:
    """By kind and number, the marks of the values last recorded; all zero where none is known."""
    places = {
        kind: {field.attname: (place * _MARK, field) for place, field in enumerate(_fields(model))}
        for kind, model in kinds.items()
    }
    known: defaultdict[str, dict[str, bytearray]] = defaultdict(dict)
    wanted = (
        AuditEvent.objects.filter(kind__in=kinds, action__in=[Action.CREATE, Action.UPDATE, Action.DELETE])
        .exclude(object_id="")  # older trails: files taken in
        .order_by("number")
    )
    for kind, number, action, content in wanted.values_list(
        "kind", "object_id", "action", "detail__content"
    ).iterator(chunk_size=2000):
        if action == Action.DELETE:
            known[kind].pop(number, None)
            continue
        marks = known[kind].setdefault(number, bytearray(_MARK * len(places[kind])))
        for name, value in (json.loads(content)["after"] if content else {}).items():
            if name in places[kind]:
                start, field = places[kind][name]
                marks[start : start + _MARK] = _NONE if value == NOT_SHOWN else _mark(field, value)
    return known


def _fields(model: type[Recorded]) -> list[models.Field[Any, Any]]:
    return list(model._meta.concrete_fields)


def _held(row: Recorded, name: str) -> Any:
    value = getattr(row, name)
    return row.instead_of(name, value) if name in row.unrecorded_fields else value


def _mark(field: models.Field[Any, Any], value: Any) -> bytes:
    """Digest of a value, the same whether it comes from the trail or from the database."""
    held = field.target_field if isinstance(field, models.ForeignKey) else field
    plain = _plain(json.loads(canonical(held.to_python(value))))
    return blake2b(canonical(plain).encode(), digest_size=_MARK).digest()


def _plain(value: Any) -> Any:
    """Whole numbers as such: databases do not keep 200.0 apart from 200."""
    if isinstance(value, dict):
        return {name: _plain(below) for name, below in value.items()}
    if isinstance(value, list):
        return [_plain(below) for below in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value
