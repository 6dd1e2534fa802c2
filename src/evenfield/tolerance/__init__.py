"""What a gap, a tilt, a shift, another body shape or another fat thickness would do to a planned
placement."""

from evenfield.tolerance.answer import ErrorBound, PreviewError, WhatIfAnswer
from evenfield.tolerance.diagnosis import Diagnosis, diagnosis
from evenfield.tolerance.full_answer import full_answer
from evenfield.tolerance.nearby import PreviewRangeError
from evenfield.tolerance.outcome import LOOK_MINUTES, PlacementOutcome
from evenfield.tolerance.preview import WhatIfPreview
from evenfield.tolerance.preview_build import build as build_preview
from evenfield.tolerance.preview_file import PreviewFileError
from evenfield.tolerance.preview_file import load as load_preview
from evenfield.tolerance.preview_file import save as save_preview
from evenfield.tolerance.table import Difference, Effect, ToleranceTable, difference, tolerance_table
from evenfield.tolerance.variation import Variation, variations
from evenfield.tolerance.watch import what_to_watch, worst_errors
from evenfield.tolerance.what_if import PanelChange, WhatIf

__all__ = [
    "LOOK_MINUTES",
    "Diagnosis",
    "Difference",
    "Effect",
    "ErrorBound",
    "PanelChange",
    "PlacementOutcome",
    "PreviewError",
    "PreviewFileError",
    "PreviewRangeError",
    "ToleranceTable",
    "Variation",
    "WhatIf",
    "WhatIfAnswer",
    "WhatIfPreview",
    "build_preview",
    "diagnosis",
    "difference",
    "full_answer",
    "load_preview",
    "save_preview",
    "tolerance_table",
    "variations",
    "what_to_watch",
    "worst_errors",
]
