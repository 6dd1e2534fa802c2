"""Writing down a set of measurements, and corrections of it."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from django.db import transaction

from evenfield.clinic.measuring.agreement import Settled
from evenfield.clinic.measuring.history import Measured, entries
from evenfield.clinic.measuring.models import Kind, MeasureEntry
from evenfield.clinic.measuring.plan import EntryLine, SetPlan
from evenfield.clinic.people.models import Person


def number_content(
    line: EntryLine,
    typed: Sequence[str],
    readings: Sequence[float],
    settled: Settled,
    confirmed: Sequence[dict[str, str]],
) -> dict[str, Any]:
    """One number of a set as it is kept."""
    return {
        "key": line.key,
        "quantity": line.quantity.value,
        "level_mm": line.level_mm,
        "direction": line.direction,
        "typed": list(typed),
        "typed_unit": line.unit.word,
        "readings": list(readings),
        "reading": settled.reading,
        "value": settled.value,
        "by": settled.by,
        "agreed": settled.agreed,
        "confirmed": list(confirmed),
    }


def keep_set(
    person: Person,
    plan: SetPlan,
    values: Sequence[dict[str, Any]],
    *,
    token: str,
    note: str = "",
    amended: Sequence[dict[str, Any]] = (),
    confirmed: Sequence[dict[str, str]] = (),
    measured_at: datetime | None = None,
) -> MeasureEntry:
    """Keep a set with its protocols as they are now; the same set sent twice (by its token) is kept once.

    `measured_at` is for sets taken in from a file: when they were measured, which is not now.
    """
    with transaction.atomic():
        for row in entries(person):
            if row.kind == Kind.SET and row.content["token"] == token:
                return row
        content = {
            "token": token,
            "region": plan.region.value if plan.region else "",
            "side": plan.side,
            "protocols": {one.quantity.value: one.model_dump(mode="json") for one in plan.protocols},
            "length_unit": plan.length_unit,
            "query": plan.query(),
            "values": list(values),
            "not_measured": sorted({line.key for line in plan.lines()} - {value["key"] for value in values}),
            "amended": list(amended),
            "confirmed": list(confirmed),
            "note": note,
        }
        if measured_at:
            content["measured_at"] = measured_at.astimezone(UTC).isoformat(timespec="seconds")
        return MeasureEntry.keep(Kind.SET, person.pk, content)


def keep_correction(
    person: Person,
    about: Measured,
    *,
    reason: str,
    typed: Sequence[str] = (),
    readings: Sequence[float] = (),
    settled: Settled | None = None,
) -> MeasureEntry:
    """Correct one number of an earlier set, or withdraw it if no readings are given; the old one stays."""
    value: dict[str, Any] = {}
    if settled:
        value = {
            "typed": list(typed),
            "readings": list(readings),
            "reading": settled.reading,
            "value": settled.value,
            "by": settled.by,
            "agreed": settled.agreed,
        }
    content = {
        "about": about.entry,
        "key": about.key,
        "reason": reason,
        "withdrawn": settled is None,
        "value": value,
    }
    return MeasureEntry.keep(Kind.CORRECTION, person.pk, content)
