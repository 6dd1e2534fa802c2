"""Layer radii along the ray against the true normal distance, found by brute force on the skin surface."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from evenfield.body import Measurements, Region, RegionKind

ABDOMEN = Measurements(
    kind=RegionKind.ABDOMEN,
    level_m=(-0.12, 0.0, 0.12),
    girth_m=(0.880, 0.900, 0.930),
    width_to_depth=1.35,
    fat_m=((0.026, 0.018, 0.018, 0.018), (0.028, 0.020, 0.018, 0.020), (0.026, 0.020, 0.018, 0.020)),
    skin_m=0.002,
    bone_radius_m=0.011,
    wall_m=0.012,
)
HARDEST_TRUNK = Measurements(
    kind=RegionKind.ABDOMEN,
    level_m=(-0.10, 0.0, 0.10),
    girth_m=(1.05, 1.15, 1.25),
    width_to_depth=1.4,
    fat_m=((0.060, 0.040, 0.035, 0.040),) * 3,
    skin_m=0.002,
    bone_radius_m=0.011,
    wall_m=0.012,
)
TAPERED_LIMB = Measurements(
    kind=RegionKind.THIGH,
    level_m=(-0.10, 0.0, 0.10),
    girth_m=(0.48, 0.54, 0.62),
    width_to_depth=1.15,
    fat_m=((0.010, 0.020, 0.018, 0.015), (0.014, 0.026, 0.020, 0.018), (0.018, 0.035, 0.024, 0.022)),
    skin_m=0.002,
    bone_radius_m=0.014,
    wall_m=0.012,
)


def true_depth(
    region: Region, angle: float, level: float, point: NDArray[np.float64]
) -> tuple[float, float, float]:
    """Shortest distance from a point to the skin, by a general-purpose minimiser, and the foot's place."""

    def away(place: NDArray[np.float64]) -> NDArray[np.float64]:
        return 1e3 * (region.surface_point(place[0], place[1]) - point)

    found = least_squares(
        away,
        x0=[angle, level],
        method="lm",
        xtol=1e-12,
        ftol=1e-14,
    )
    return float(np.sqrt(2 * found.cost)) * 1e-3, float(found.x[0]), float(found.x[1])


@pytest.mark.parametrize(
    ("measurements", "limit_mm"),
    [(ABDOMEN, 0.02), (HARDEST_TRUNK, 0.20), (TAPERED_LIMB, 0.03)],
    ids=["abdomen", "hardest trunk", "tapered limb"],
)
def test_layers_lie_at_the_measured_depth_along_the_normal(
    measurements: Measurements, limit_mm: float
) -> None:
    region = Region(measurements)
    worst = {"skin": 0.0, "fat": 0.0, "wall": 0.0}
    unchanged = 0.0
    for angle in np.linspace(0.1, 2 * np.pi + 0.1, 16, endpoint=False):
        for level in (-0.05, 0.03):
            radii = region.layer_radii(angle, level)
            for name, radius in zip(("wall", "fat", "skin"), radii[:3], strict=True):
                if name == "wall" and not measurements.kind.trunk:
                    continue
                point = np.array([radius * np.cos(angle), radius * np.sin(angle), level])
                depth, foot, foot_level = true_depth(region, angle, level, point)
                expected = measurements.skin_m
                if name != "skin":
                    expected += float(region.fat_thickness(foot, foot_level))
                if name == "wall":
                    expected += measurements.wall_m
                worst[name] = max(worst[name], abs(depth - expected) * 1e3)
                if name == "fat":
                    radius = float(region.skin_radius(angle, level)) - measurements.skin_m
                    radius -= float(region.fat_thickness(angle, level))
                    point = np.array([radius * np.cos(angle), radius * np.sin(angle), level])
                    depth, foot, foot_level = true_depth(region, angle, level, point)
                    error = depth - measurements.skin_m - float(region.fat_thickness(foot, foot_level))
                    unchanged = max(unchanged, abs(error) * 1e3)
    assert worst["skin"] < 0.02
    assert worst["fat"] < limit_mm
    assert worst["wall"] < limit_mm
    assert unchanged > 5 * worst["fat"], "the correction must be worth its place"
