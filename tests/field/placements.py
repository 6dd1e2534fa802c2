"""Placements for tests of grid and field. Bodies and panels are invented."""

from math import radians

from evenfield.applicator import Panel, PanelShape, PlacedPanel, place
from evenfield.body import Measurements, Region, RegionKind
from evenfield.field import Material
from evenfield.tissue import FREQUENCY_HZ, load_tissue_set

AIR = 2j * 3.141592653589793 * FREQUENCY_HZ * 8.8541878128e-12


def materials(kind: str = "average_infiltrated") -> dict[str, Material]:
    """Admittivities of all layers at 27.12 MHz."""
    tissues = load_tissue_set().with_fat(kind)
    out = {
        name: Material(complex(t.dielectric.admittivity(FREQUENCY_HZ)), t.density_kg_m3)
        for name in ("bone", "core", "muscle", "fat", "skin")
        for t in [tissues.tissue(name)]
    }
    return out | {"air": Material(AIR, 1.2)}


def limb(
    *,
    fat: float = 0.020,
    gap: float = 0.010,
    across: float = 0.0,
    along: float = 0.0,
    shape: PanelShape = PanelShape.FLAT,
    girth: float = 0.60,
    drives: tuple[float, float] = (1.0, -1.0),
    shift: float = 0.0,
) -> tuple[Region, tuple[PlacedPanel, ...]]:
    """A round thigh with even fat and two facing panels, front and back; tilts (degrees) are the front
    panel's."""
    region = Region(
        Measurements(
            kind=RegionKind.THIGH,
            level_m=(-0.1, 0.1),
            girth_m=(girth, girth),
            width_to_depth=1.0,
            fat_m=((fat,) * 4,) * 2,
            skin_m=0.002,
            bone_radius_m=0.014,
            wall_m=0.012,
        )
    )
    front = Panel("front", shape, 0.0, shift, 0.12, 0.16, gap, radians(across), radians(along), drives[0])
    back = Panel("back", shape, radians(180), 0.0, 0.12, 0.16, gap, 0.0, 0.0, drives[1])
    return region, (place(front, region), place(back, region))


def near_and_wide() -> tuple[Region, tuple[PlacedPanel, ...]]:
    """A lean flat thigh; in a row along it a small curved panel near the skin, and two wide flat plates whose
    edges stand 12 cm from it."""
    region = Region(
        Measurements(
            kind=RegionKind.THIGH,
            level_m=(-0.2, 0.2),
            girth_m=(0.58, 0.58),
            width_to_depth=1.7,
            fat_m=((0.005,) * 4,) * 2,
            skin_m=0.005,
            bone_radius_m=0.012,
            wall_m=0.012,
        )
    )
    near = Panel("near", PanelShape.CURVED, radians(91), 0.13, 0.06, 0.08, 0.005, 0.0, radians(2), -1.0)
    wide = Panel("wide", PanelShape.FLAT, radians(106), 0.0, 0.30, 0.04, 0.02, radians(-3), radians(2), 0.5)
    last = Panel("last", PanelShape.FLAT, radians(102), -0.13, 0.30, 0.04, 0.02, 0.0, 0.0, -1.0)
    return region, tuple(place(panel, region) for panel in (near, wide, last))
