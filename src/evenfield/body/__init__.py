"""What was measured at the couch, as a closed smooth region."""

from evenfield.body.measurements import DIRECTIONS, Measurements, RegionKind
from evenfield.body.refusal import InputError, MeasurementError
from evenfield.body.region import Region

__all__ = ["DIRECTIONS", "InputError", "MeasurementError", "Measurements", "Region", "RegionKind"]
