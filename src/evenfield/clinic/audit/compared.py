"""The rows of the record against what the trail last said of them.

The chain shows that nobody touched the trail. What it tells of can still be changed behind it, in the
database itself: a date of birth, the plan of a visit, the limits of a device. Each row is therefore
compared, field by field, with the last value that the trail recorded; a row that the trail does not
know, and one that is gone without its removal being recorded, are found as well. Fields that the trail
never holds (secrets) are not compared, nor is what was erased.
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
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.audit.recorded import Recorded
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
    return [problem for model in kinds for problem in _shortened(model, known[model._meta.label_lower])]


def _shortened(model: type[Recorded], known: dict[str, bytearray]) -> Iterator[str]:
    found = list(_unlike(model, known))
    yield from found[:_NAMED]
    if len(found) > _NAMED:
        yield f"{model._meta.db_table}: {len(found) - _NAMED} more like these."


def _unlike(model: type[Recorded], known: dict[str, bytearray]) -> Iterator[str]:
    table = model._meta.db_table
    for row in model._default_manager.order_by("pk").iterator(chunk_size=2000):
        marks = known.pop(str(row.pk), None)
        if marks is None:
            yield f"{table}: row {row.pk} was added behind the trail."
            continue
        for place, field in enumerate(_fields(model)):
            mark = bytes(marks[place * _MARK : (place + 1) * _MARK])
            if mark not in (_NONE, _mark(field, getattr(row, field.attname))):
                yield f"{table}: {field.attname} of row {row.pk} is not what the trail last recorded."
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
                marks[start : start + _MARK] = _mark(field, value)
    return known


def _fields(model: type[Recorded]) -> list[models.Field[Any, Any]]:
    return [field for field in model._meta.concrete_fields if field.attname not in model.unrecorded_fields]


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
