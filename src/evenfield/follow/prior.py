"""What is believed about a person and a set-up before the visit: spreads, each with its source and label.

Every uncertain quantity is a standard normal number ξ times its spread, on a scale where that is sensible:
factors by their logarithm, offsets as they are. `sd` below is one standard deviation on that scale.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from math import log

from evenfield.case import AbsorbedFraction
from evenfield.tissue import Label, Value

Z90 = 1.6448536269514722
"""Half-width of a normal 90 % interval in standard deviations."""


def _assumed(value: float, unit: str, why: str) -> Value:
    return Value(value, unit, f"Assumption: {why}", Label.A)


@dataclass(frozen=True)
class Prior:
    """Spreads (standard deviations) before the first reading. Change one with `dataclasses.replace`.

    flow_fat, _muscle, _skin, exchange   log of a factor on the set's blood flow and on the skin exchange
    flow_law    how the logs of fat's and muscle's flow differ from the set's law per kelvin of warmer fat
    arterial_k              arterial temperature about the case's
    gap_m, tilt_rad         placement against the plan, per panel; tilt across and along each
    move_share              how far a recorded move is off, as a share of the move
    other_fat_mid, _sd      how much of the heating pattern follows the other published fat, 0 to 1
    thermometer_k           one offset of the thermometer for the whole visit
    zone_offset_k, zone_share   what the model misses in one zone: a fixed part, and a share of the rise
    hottest_share           the same for how far the hottest point stands above its zone, beyond `zone_share`
    usual_tuning            the tuning at which the case's absorbed fraction is meant, %
    forget_s                time over which a learned quantity may drift by one prior spread
    """

    flow_fat: Value
    flow_muscle: Value
    flow_skin: Value
    flow_law: Value
    exchange: Value
    arterial_k: Value
    gap_m: Value
    tilt_rad: Value
    move_share: Value
    other_fat_mid: Value
    other_fat_sd: Value
    thermometer_k: Value
    zone_offset_k: Value
    zone_share: Value
    hottest_share: Value
    usual_tuning: Value
    forget_s: Value

    def fraction_sd(self, fraction: AbsorbedFraction) -> float:
        """Spread of the absorbed fraction's logarithm: its low and high end taken as a 90 % interval."""
        return log(fraction.high / fraction.low) / (2.0 * Z90)

    def lines(self) -> tuple[str, ...]:
        """Every spread as one line with unit, label and source."""
        return tuple(f"{field.name}: {getattr(self, field.name)}" for field in fields(self))


DEFAULT_PRIOR = Prior(
    flow_fat=_assumed(0.35, "log", "fat flow between people, factor 1.4 either way"),
    flow_muscle=_assumed(0.40, "log", "muscle flow between people, factor 1.5 either way"),
    flow_skin=_assumed(0.50, "log", "skin flow varies most of all, factor 1.6 either way"),
    flow_law=_assumed(0.06, "1/K", "half way from constant flow to Lang's law, 37 to 43 °C of tissue"),
    exchange=_assumed(0.25, "log", "draughts, drapes, sweat and the air in the gap"),
    arterial_k=_assumed(0.3, "K", "core temperature between people and over the day"),
    gap_m=_assumed(1.5e-3, "m", "gap set by eye or with a spacer"),
    tilt_rad=_assumed(0.035, "rad", "2 degrees: parallel as far as the eye can tell"),
    move_share=_assumed(0.3, "1", "a move of some millimetres by hand"),
    other_fat_mid=_assumed(0.3, "1", "published tables disagree on plain fat"),
    other_fat_sd=_assumed(0.35, "1", "published tables disagree on plain fat"),
    thermometer_k=_assumed(0.4, "K", "skin thermometers beyond their laboratory limit of 0.3 K"),
    zone_offset_k=_assumed(0.25, "K", "local flow and thickness that nobody measured"),
    zone_share=_assumed(0.07, "1", "fat thickness between the places measured, unmodelled tissue"),
    hottest_share=_assumed(0.06, "1", "edges and thin places finer than the grid"),
    usual_tuning=_assumed(90.0, "%", "the tuning usual devices reach; 80 % or better is wanted"),
    forget_s=_assumed(3600.0, "s", "vessels open and close within minutes to an hour"),
)
"""What is believed where nothing better is known. All of it assumed (label A)."""
