"""A number with its unit, its source and how well that source was confirmed."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Label(StrEnum):
    """How far a value can be trusted to be what its source says."""

    P = "P"
    """Confirmed in print."""
    M = "M"
    """From memory; not looked up."""
    C = "C"
    """Computed from the formula named."""
    A = "A"
    """An assumption of ours; shown as such in every output that depends on it."""


@dataclass(frozen=True)
class Value:
    """One number as written in a data file: `value` in `unit`, from `source`, with its `label`."""

    value: float
    unit: str
    source: str
    label: Label

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit} [{self.label}] {self.source}"
