"""A panel as the operator places it."""

from dataclasses import dataclass
from enum import StrEnum


class PanelShape(StrEnum):
    """`flat`: a plane plate. `curved`: follows the skin at a constant gap."""

    FLAT = "flat"
    CURVED = "curved"


@dataclass(frozen=True)
class Panel:
    """One plate of the applicator and where it sits.

    name               what the operator calls it
    shape              flat or curved
    angle_rad          direction of its centre: front 0, inner (left on the trunk) pi/2, back pi, outer 3 pi/2
    level_m            level of its centre
    width_m            across the region; for a curved panel the arc length along the panel itself
    length_m           along the region
    gap_m              skin to panel at the panel's centre, along the skin's normal
    tilt_across_rad    positive lifts the edge on the side of increasing angle away from the skin
    tilt_along_rad     positive lifts the edge on the side of increasing level
    drive              relative, signed voltage; opposite signs face each other
    """

    name: str
    shape: PanelShape
    angle_rad: float
    level_m: float
    width_m: float
    length_m: float
    gap_m: float
    tilt_across_rad: float = 0.0
    tilt_along_rad: float = 0.0
    drive: float = 1.0
