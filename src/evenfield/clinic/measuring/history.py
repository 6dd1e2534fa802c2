"""What has been measured on a person: every number in force, with all that it was measured by."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from evenfield.body import RegionKind
from evenfield.clinic.measuring.models import Kind, MeasureEntry
from evenfield.clinic.measuring.plan import place_in_words, place_words
from evenfield.clinic.measuring.protocols import Protocol, Quantity
from evenfield.clinic.people.models import Person


@dataclass(frozen=True)
class Measured:
    """One number as it stands now.

    Attributes:
        entry: number of the set it was measured in.
        at: when; by: user name of who measured; measurer: number of that account.
        region, side, level_mm, direction: where; None or "" where it does not apply.
        protocol: what it was measured by, as it was then.
        readings: as shown by the instrument, in SI (m or kg).
        reading: their mean or median; value: the same converted.
        how: mean or median of how many; agreed: whether the readings lay within the limit.
        correction: number of the entry that corrected it, None if none did.
        withdrawn: whether the correction withdrew it.
        complete: whether all that was planned of this quantity in its set was measured and stands.
        imported: whether it was taken in from a file; `at` is then when it was measured, and nobody here did.
    """

    entry: int
    key: str
    at: datetime
    by: str
    measurer: int | None
    region: RegionKind | None
    side: str
    level_mm: float | None
    direction: str
    protocol: Protocol
    readings: tuple[float, ...]
    reading: float
    value: float
    how: str
    agreed: bool
    correction: int | None = None
    withdrawn: bool = False
    complete: bool = True
    imported: bool = False

    @property
    def quantity(self) -> Quantity:
        """What it is."""
        return self.protocol.quantity

    @property
    def place(self) -> tuple[Quantity, RegionKind | None, str, float | None, str]:
        """What and where, whatever it was measured by."""
        return (self.quantity, self.region, self.side, self.level_mm, self.direction)

    def words(self, length_unit: str) -> str:
        """What and where in words."""
        return place_in_words(self.quantity, self.level_mm, self.direction, self.region, length_unit)

    @property
    def where(self) -> str:
        """Region and side in words."""
        return place_words(self.region, self.side)


def entries(person: Person) -> list[MeasureEntry]:
    """All sets and corrections about this person, newest first."""
    return MeasureEntry.about([one.pk for one in person.one_person()])


def measured(rows: Iterable[MeasureEntry]) -> list[Measured]:
    """Every number of these entries (newest first) as it stands now, newest set first."""
    rows = list(rows)
    corrections: dict[tuple[int, str], MeasureEntry] = {}
    for row in rows:
        if row.kind == Kind.CORRECTION:
            corrections.setdefault((row.content["about"], row.content["key"]), row)
    found: list[Measured] = []
    for row in rows:
        if row.kind == Kind.SET:
            found += _set(row, corrections)
    if any(one.imported for one in found):
        found.sort(key=lambda one: one.at, reverse=True)
    return found


def _set(row: MeasureEntry, corrections: dict[tuple[int, str], MeasureEntry]) -> list[Measured]:
    """The numbers of one set."""
    content = row.content
    protocols = {name: _protocol(json.dumps(said)) for name, said in content["protocols"].items()}
    corrected = {value["key"]: corrections.get((row.number, value["key"])) for value in content["values"]}
    lacking = {key.partition("_")[0] for key in content["not_measured"]}
    lacking |= {
        protocols[value["quantity"]].quantity.value
        for value in content["values"]
        if (correction := corrected[value["key"]]) and correction.content["withdrawn"]
    }
    return [
        _number(row, content, value, protocols[value["quantity"]], corrected[value["key"]], lacking)
        for value in content["values"]
    ]


@lru_cache(maxsize=500)
def _protocol(text: str) -> Protocol:
    """A protocol as it was kept; hundreds of sets were measured by the same few."""
    return Protocol.model_validate_json(text)


def in_force(person: Person) -> list[Measured]:
    """Every number of this person that was not withdrawn, newest set first."""
    return [one for one in measured(entries(person)) if not one.withdrawn]


def _number(
    row: MeasureEntry,
    content: dict[str, Any],
    value: dict[str, Any],
    protocol: Protocol,
    correction: MeasureEntry | None,
    lacking: set[str],
) -> Measured:
    now = value if correction is None else {**value, **correction.content["value"]}
    measured_at = content.get("measured_at", "")
    return Measured(
        entry=row.number,
        key=value["key"],
        at=datetime.fromisoformat(measured_at) if measured_at else row.at,
        by="not known here" if measured_at else row.actor,
        measurer=None if measured_at else row.actor_id,
        region=RegionKind(content["region"]) if content["region"] and value["quantity"] != "weight" else None,
        side="" if value["quantity"] == "weight" else content["side"],
        level_mm=value["level_mm"],
        direction=value["direction"],
        protocol=protocol,
        readings=tuple(now["readings"]),
        reading=now["reading"],
        value=now["value"],
        how=now["by"],
        agreed=now["agreed"],
        correction=correction.number if correction else None,
        withdrawn=bool(correction and correction.content["withdrawn"]),
        complete=protocol.quantity.value not in lacking,
        imported=bool(measured_at),
    )
