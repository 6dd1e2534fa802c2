"""Published limits to hold a temperature or a dose against, as data with source and label.

They mark where caution starts, not where harm ends or begins. The device's manual, local rules and the
supervising licensed clinician come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from evenfield.tissue import Label, Value

_VAN_RHOON = "G. C. van Rhoon et al., Eur. Radiol. 23:2215 (2013)"
_RHEE = "J. G. Rhee et al., Int. J. Radiat. Oncol. Biol. Phys. 20:1009 (1991)"


class Quantity(StrEnum):
    """What a threshold is held against."""

    TEMPERATURE_C = "temperature_c"
    CEM43_MINUTES = "cem43_minutes"


@dataclass(frozen=True)
class Threshold:
    """A named limit on one quantity, with what it is about in words."""

    name: str
    quantity: Quantity
    limit: Value
    meaning: str


THRESHOLDS: tuple[Threshold, ...] = (
    Threshold(
        "untracked_temperature",
        Quantity.TEMPERATURE_C,
        Value(39.0, "°C", _VAN_RHOON, Label.P),
        "highest tissue temperature where the time at temperature is not tracked",
    ),
    Threshold(
        "dose_uncontrolled",
        Quantity.CEM43_MINUTES,
        Value(2.0, "min", _VAN_RHOON, Label.P),
        "stay below, in uncontrolled conditions or where heat regulation may be impaired",
    ),
    Threshold(
        "dose_controlled",
        Quantity.CEM43_MINUTES,
        Value(9.0, "min", _VAN_RHOON, Label.P),
        "stay below, in controlled conditions with normal heat regulation and a trained operator",
    ),
    Threshold(
        "dose_tolerated",
        Quantity.CEM43_MINUTES,
        Value(16.0, "min", _VAN_RHOON, Label.M),
        "dose up to which skin, muscle, fat and bone showed no lasting change in most reports",
    ),
    Threshold(
        "fat_pain",
        Quantity.TEMPERATURE_C,
        Value(42.0, "°C", _RHEE, Label.P),
        "fat 1 to 2 cm deep hurts above this when a radio-frequency field heats it",
    ),
    Threshold(
        "skin_pain",
        Quantity.TEMPERATURE_C,
        Value(
            43.0, "°C", "Skin heat-pain thresholds of 43 to 44 °C, with large spread between people", Label.P
        ),
        "skin starts to hurt; some people feel it late or not at all, so no pain is no proof",
    ),
)


def threshold(name: str) -> Threshold:
    """The threshold called `name`; KeyError with one clear sentence if there is none."""
    for item in THRESHOLDS:
        if item.name == name:
            return item
    raise KeyError(f'threshold "{name}" is not known; allowed: {", ".join(item.name for item in THRESHOLDS)}')
