"""What a measurement of each kind of region can plausibly be, and what stands in where none was taken.

The ranges are wide on purpose (label A): they are to catch centimetres typed as millimetres and slips of the
pen, not to judge a person. They lie outside everything in two published samples: ANSUR II (Gordon et al.
2014, US Army, 6068 adults; mean and standard deviation of women / men: thigh 616±56 / 625±59, biceps 306±31 /
358±35, waist 861±100 / 941±112, hip 1021±76 / 1020±77, calf 373±29 / 392±30 mm, label P) and Heinz, Peterson,
Johnson & Kerk, *J. Stat. Educ.* 11(2), 2003 (507 adults, every girth, label P; tests/body/test_plausible.py).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from evenfield.body.measurements import RegionKind
from evenfield.tissue import Label, Value


@dataclass(frozen=True)
class Span:
    """Lowest and highest value allowed."""

    low: float
    high: float

    def __contains__(self, value: object) -> bool:
        return isinstance(value, int | float) and self.low <= value <= self.high


@dataclass(frozen=True)
class Plausible:
    """Ranges and stand-ins of one kind of region, in metres.

    `words` says where a girth was taken ("an upper arm"); `girth_m`, `fat_m` and `bone_radius_m` are allowed
    ranges; `fat`, `bone_radius` and `width_to_depth` are used where nothing was measured.
    """

    words: str
    girth_m: Span
    fat_m: Span
    bone_radius_m: Span
    fat: Value
    bone_radius: Value
    width_to_depth: Value


SKIN_M = Span(0.0005, 0.005)
WALL_M = Span(0.003, 0.040)
WIDTH_TO_DEPTH = Span(0.5, 2.5)
SKIN = Value(0.002, "m", "skin 1.9-2.4 mm by ultrasound, lower end", Label.P)
WALL = Value(0.012, "m", "muscle of the front abdominal wall, about 10-15 mm; the flank is thicker", Label.A)

_LIMB_FAT, _TRUNK_FAT = Span(0.0015, 0.080), Span(0.003, 0.080)
_ROUND = Value(1.0, "", "a limb taken as round", Label.A)
_BROAD = Value(1.35, "", "waist breadth over waist depth near 1.3-1.4, standing", Label.M)
_ARM_FAT = Value(0.0108, "m", "mean of the arm by ultrasound; a person differs: measure", Label.A)
_THIGH_FAT = Value(0.0104, "m", "mean of the thigh by ultrasound; a person differs: measure", Label.A)
_ABDOMEN_FAT = Value(0.0139, "m", "mean of the abdomen by ultrasound; a person differs: measure", Label.A)
_UNUSED = Value(0.011, "m", "no bone is modelled on the trunk", Label.A)

PLAUSIBLE: Mapping[RegionKind, Plausible] = MappingProxyType(
    {
        RegionKind.ABDOMEN: Plausible(
            words="the abdomen",
            girth_m=Span(0.500, 1.800),
            fat_m=_TRUNK_FAT,
            bone_radius_m=Span(0.004, 0.040),
            fat=_ABDOMEN_FAT,
            bone_radius=_UNUSED,
            width_to_depth=_BROAD,
        ),
        RegionKind.FLANK: Plausible(
            words="the flank",
            girth_m=Span(0.500, 1.800),
            fat_m=_TRUNK_FAT,
            bone_radius_m=Span(0.004, 0.040),
            fat=_ABDOMEN_FAT,
            bone_radius=_UNUSED,
            width_to_depth=_BROAD,
        ),
        RegionKind.THIGH: Plausible(
            words="a thigh",
            girth_m=Span(0.300, 1.100),
            fat_m=_LIMB_FAT,
            bone_radius_m=Span(0.008, 0.025),
            fat=_THIGH_FAT,
            bone_radius=Value(0.014, "m", "femur about 28 mm thick at mid-shaft", Label.M),
            width_to_depth=_ROUND,
        ),
        RegionKind.ABOVE_KNEE: Plausible(
            words="a thigh above the knee",
            girth_m=Span(0.220, 0.800),
            fat_m=_LIMB_FAT,
            bone_radius_m=Span(0.008, 0.035),
            fat=_THIGH_FAT,
            bone_radius=Value(0.020, "m", "femur widening towards the knee", Label.A),
            width_to_depth=_ROUND,
        ),
        RegionKind.UPPER_ARM: Plausible(
            words="an upper arm",
            girth_m=Span(0.150, 0.600),
            fat_m=_LIMB_FAT,
            bone_radius_m=Span(0.006, 0.018),
            fat=_ARM_FAT,
            bone_radius=Value(0.011, "m", "humerus about 22 mm thick at mid-shaft", Label.M),
            width_to_depth=_ROUND,
        ),
        RegionKind.CALF: Plausible(
            words="a calf",
            girth_m=Span(0.200, 0.650),
            fat_m=_LIMB_FAT,
            bone_radius_m=Span(0.006, 0.025),
            fat=Value(0.008, "m", "thinner than the thigh's; a person differs: measure", Label.A),
            bone_radius=Value(0.015, "m", "tibia and fibula as one round bone", Label.A),
            width_to_depth=_ROUND,
        ),
    }
)
"""By kind of region."""
