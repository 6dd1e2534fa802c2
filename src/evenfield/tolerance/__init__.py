"""What a gap, a tilt, a shift, another body shape or another fat thickness would do to a planned
placement."""

from evenfield.tolerance.outcome import LOOK_MINUTES, PlacementOutcome
from evenfield.tolerance.table import Difference, Effect, ToleranceTable, difference, tolerance_table
from evenfield.tolerance.variation import Variation, variations
from evenfield.tolerance.watch import what_to_watch, worst_errors

__all__ = [
    "LOOK_MINUTES",
    "Difference",
    "Effect",
    "PlacementOutcome",
    "ToleranceTable",
    "Variation",
    "difference",
    "tolerance_table",
    "variations",
    "what_to_watch",
    "worst_errors",
]
