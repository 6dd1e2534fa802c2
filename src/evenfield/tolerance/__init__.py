"""What a gap, a tilt, a shift, another body shape or another fat thickness would do to a planned
placement."""

from evenfield.tolerance.table import Effect, ToleranceTable, tolerance_table
from evenfield.tolerance.variation import Variation, variations

__all__ = ["Effect", "ToleranceTable", "Variation", "tolerance_table", "variations"]
