"""The case file: what a forecast starts from, checked at the door."""

from evenfield.case.keys import assumptions, file_values, tissue_assumptions
from evenfield.case.model import (
    AbsorbedFraction,
    Assumption,
    Case,
    CaseError,
    PowerKind,
    Session,
)
from evenfield.case.read import case_from_toml, read_case
from evenfield.case.write import case_to_toml

__all__ = [
    "AbsorbedFraction",
    "Assumption",
    "Case",
    "CaseError",
    "PowerKind",
    "Session",
    "assumptions",
    "case_from_toml",
    "case_to_toml",
    "file_values",
    "read_case",
    "tissue_assumptions",
]
