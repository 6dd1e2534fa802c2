"""What was measured at the couch: girths, fat thicknesses and the few sizes that are usually assumed."""

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from math import isfinite

from evenfield.body.refusal import MeasurementError

DIRECTIONS = ("front", "inner", "back", "outer")
"""Where fat thickness is measured, at angles 0, 90, 180 and 270 degrees. On the trunk inner is left."""


class RegionKind(StrEnum):
    """The parts of the body a region can be."""

    ABDOMEN = "abdomen"
    FLANK = "flank"
    THIGH = "thigh"
    ABOVE_KNEE = "above_knee"
    UPPER_ARM = "upper_arm"
    CALF = "calf"

    @property
    def trunk(self) -> bool:
        """True where a muscle wall lies over an averaged core, false where a bone lies on the axis."""
        return self in (RegionKind.ABDOMEN, RegionKind.FLANK)


@dataclass(frozen=True)
class Measurements:
    """A region as measured, in metres.

    kind            which part of the body
    level_m         n positions along the region's axis, ascending
    girth_m         n girths, one per level (tape at right angles to the axis)
    width_to_depth  side-to-side width over front-to-back depth, as positioned and bolstered
    fat_m           n rows of fat thickness at front, inner, back, outer (along the outward normal)
    skin_m          skin thickness (along the normal)
    bone_radius_m   radius of the bone on the axis (limb; unused on the trunk)
    wall_m          thickness of the muscle wall (trunk; unused on a limb)
    side            "left" or "right" where that makes sense; only for words

    Raises MeasurementError if the rows do not match, levels do not ascend, or a size is not positive and
    finite.
    """

    kind: RegionKind
    level_m: tuple[float, ...]
    girth_m: tuple[float, ...]
    width_to_depth: float
    fat_m: tuple[tuple[float, float, float, float], ...]
    skin_m: float
    bone_radius_m: float
    wall_m: float
    side: str | None = None

    def __post_init__(self) -> None:
        n = len(self.level_m)
        if n == 0:
            raise MeasurementError(
                "region.girth_mm is empty: at least one girth is needed",
                key="region.girth_mm",
                allowed="1 or more",
            )
        for key, rows in (("region.girth_mm", len(self.girth_m)), ("region.fat_mm", len(self.fat_m))):
            if rows != n:
                raise MeasurementError(
                    f"{key} has {rows} entries but region.levels_mm has {n}: one per level is needed",
                    key=key,
                    value=rows,
                    allowed=str(n),
                )
        if any(len(row) != 4 for row in self.fat_m):
            raise MeasurementError(
                "region.fat_mm needs four values per level: front, inner, back and outer",
                key="region.fat_mm",
                value=self.fat_m,
                allowed="four values per level",
            )
        if not all(map(isfinite, self.level_m)) or any(b <= a for a, b in pairwise(self.level_m)):
            raise MeasurementError(
                f"region.levels_mm = {[round(1e3 * v, 3) for v in self.level_m]} must ascend, "
                "each level only once",
                key="region.levels_mm",
                value=self.level_m,
                allowed="ascending",
            )
        sizes = (
            *(("region.girth_mm", v) for v in self.girth_m),
            *(("region.fat_mm", v) for row in self.fat_m for v in row),
            ("region.width_to_depth", self.width_to_depth),
            ("region.skin_mm", self.skin_m),
            ("region.bone_radius_mm", self.bone_radius_m),
            ("region.wall_mm", self.wall_m),
        )
        for key, size in sizes:
            if not (isfinite(size) and size > 0):
                raise MeasurementError(
                    f"{key} must be a finite number above zero", key=key, value=size, allowed="above 0"
                )
