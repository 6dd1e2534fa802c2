"""What was measured at the couch, as a closed smooth region."""

from evenfield.body.measurements import DIRECTIONS, Measurements, RegionKind
from evenfield.body.plausible import PLAUSIBLE, Plausible, Span
from evenfield.body.refusal import InputError, MeasurementError
from evenfield.body.region import Region

__all__ = [
    "DIRECTIONS",
    "PLAUSIBLE",
    "InputError",
    "MeasurementError",
    "Measurements",
    "Plausible",
    "Region",
    "RegionKind",
    "Span",
]
