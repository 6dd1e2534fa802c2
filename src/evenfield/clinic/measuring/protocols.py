"""Measuring protocols as data of the clinic: what is measured where, how, with what, and how readings agree.

The shipped ones are `data/protocols.toml`; a clinic may keep its own copy as `measuring.toml` in the data
directory. A protocol is told apart by its id, its version and the digest of what it measures, so that a text
changed without a new version is noticed and its numbers are not mixed with earlier ones.
"""

import hashlib
import json
from enum import StrEnum
from functools import cache, cached_property
from importlib import resources
from pathlib import Path
from typing import Literal, Self

from django.conf import settings
from pydantic import Field, model_validator

from evenfield.body import RegionKind
from evenfield.clinic.own_files import own_text
from evenfield.conduct.data_file import DataEntry, read_data

_MEASURED_BY = {
    "quantity",
    "region",
    "landmark",
    "posture",
    "breathing",
    "instrument",
    "factor",
    "minus_mm",
}


class ProtocolError(ValueError):
    """Protocols that cannot be used; one sentence: what, where, what is allowed."""


class Quantity(StrEnum):
    """What is measured."""

    GIRTH = "girth"
    FAT = "fat"
    WEIGHT = "weight"


class Protocol(DataEntry):
    """One way of measuring one quantity.

    `agree`, `error`, `error_other` and `minus_mm` are in mm (kg for weight); `levels_mm` are distances from
    the landmark along the skin, positive upwards. The value is factor·reading − minus.
    """

    id: str = Field(pattern=r"^[a-z0-9_]{1,40}$")
    version: str = Field(min_length=1, max_length=20)
    name: str = Field(min_length=1, max_length=80)
    quantity: Quantity
    region: RegionKind | None = None
    landmark: str = Field(min_length=1)
    levels_mm: tuple[float, ...] = ()
    posture: str = Field(min_length=1)
    breathing: str = ""
    instrument: str = Field(min_length=1)
    factor: float = Field(default=1.0, gt=0, le=2)
    minus_mm: float = Field(default=0.0, ge=0, le=10)
    conversion: str = ""
    readings: int = Field(default=2, ge=2, le=3)
    readings_most: int = Field(default=4, ge=3, le=6)
    agree: float | None = Field(default=None, gt=0)
    agree_percent: float | None = Field(default=None, gt=0, le=20)
    error: float | None = Field(default=None, gt=0)
    error_other: float | None = Field(default=None, gt=0)
    error_percent: float | None = Field(default=None, gt=0, le=20)
    error_percent_other: float | None = Field(default=None, gt=0, le=20)
    error_source: str = Field(min_length=1)
    source: str = Field(min_length=1)
    label: Literal["P", "M", "C", "A", "clinic"]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if (self.agree is None) == (self.agree_percent is None):
            raise ValueError("give one of agree and agree_percent")
        absolute = (self.error, self.error_other)
        relative = (self.error_percent, self.error_percent_other)
        if (None in absolute) == (None in relative):
            raise ValueError("give error and error_other, or error_percent and error_percent_other, not both")
        if (self.quantity is Quantity.GIRTH) != (self.region is not None):
            raise ValueError("a girth needs its region, and nothing else has one")
        if (self.quantity is Quantity.WEIGHT) != (not self.levels_mm):
            raise ValueError("levels_mm is needed for girth and fat, and not for weight")
        if list(self.levels_mm) != sorted(set(self.levels_mm)):
            raise ValueError("levels_mm must ascend, each only once")
        if (self.factor != 1.0 or self.minus_mm) and not self.conversion:
            raise ValueError("say in conversion what factor and minus_mm do")
        if self.readings_most < self.readings:
            raise ValueError("readings_most must be at least readings")
        return self

    @cached_property
    def key(self) -> str:
        """Id, version and digest of what is measured: numbers compare only where it is equal.

        Limits, errors, names and sources may change without making earlier numbers incomparable.
        """
        said = self.model_dump(mode="json", include=_MEASURED_BY)
        digest = hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()
        return f"{self.id}/{self.version}/{digest[:12]}"

    @property
    def scale(self) -> float:
        """What the protocol's own unit is in SI: mm, or kg for weight."""
        return 1.0 if self.quantity is Quantity.WEIGHT else 1e-3

    def converted(self, reading: float) -> float:
        """The value that a reading stands for, both in SI (m or kg)."""
        return round(self.factor * reading - self.minus_mm * 1e-3, 7)

    def limit(self, reading: float) -> float:
        """How far readings of about this size may lie apart, in SI."""
        if self.agree is not None:
            return self.agree * self.scale
        return (self.agree_percent or 0.0) / 100 * reading

    def typical_error(self, reading: float, *, same_person: bool) -> float:
        """Typical error of one reading of this size in SI, by the same person measuring or another."""
        absolute = self.error if same_person else self.error_other
        relative = self.error_percent if same_person else self.error_percent_other
        return absolute * self.scale if absolute is not None else (relative or 0.0) / 100 * reading


class Protocols(DataEntry):
    """A version of the clinic's protocols."""

    version: str = Field(min_length=1)
    title: str = Field(min_length=1)
    overruled_by: str = Field(min_length=1)
    protocol: tuple[Protocol, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _own_ids(self) -> Self:
        ids = [one.id for one in self.protocol]
        if len(ids) != len(set(ids)):
            raise ValueError("two protocols have one id: give each its own")
        return self

    def of(self, quantity: Quantity, region: RegionKind | None = None) -> tuple[Protocol, ...]:
        """The protocols for a quantity, and for girths of one region."""
        return tuple(
            one for one in self.protocol if one.quantity is quantity and one.region in (None, region)
        )

    def by_id(self, protocol_id: str) -> Protocol | None:
        """The protocol of this id."""
        return next((one for one in self.protocol if one.id == protocol_id), None)


def read_protocols(text: str, where: str) -> Protocols:
    """Protocols from TOML text; `where` names it in messages. Raises ProtocolError."""
    return read_data(Protocols, text, what="protocols", where=where, refused=ProtocolError)


@cache
def default_protocols() -> Protocols:
    """The shipped protocols."""
    file = resources.files("evenfield.clinic.measuring") / "data" / "protocols.toml"
    return read_protocols(file.read_text(encoding="utf-8"), "default")


def own_protocols_file() -> Path:
    """Where a clinic may put its own protocols, in the form of the shipped ones."""
    return Path(settings.EVENFIELD_HOME) / "measuring.toml"


def present_protocols() -> Protocols:
    """The protocols of this clinic.

    Raises ProtocolError if the clinic's own file is there but cannot be used: the shipped ones never stand
    in for it unseen.
    """
    text = own_text(own_protocols_file(), "protocols", ProtocolError)
    if text is None:
        return default_protocols()
    return read_protocols(text, own_protocols_file().name)
