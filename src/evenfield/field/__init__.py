"""Quasi-static field at 27.12 MHz: E, SAR per watt and admittance of a placement; the matching circuit.

Amplitudes are rms, the time factor is exp(+jωt), admittivity y = σ + jωε₀ε_r (S/m), SAR = σ|E|²/ρ (W/kg).
The source floats: only differences of the panels' drives matter. Where all drives have one sign the
surroundings (the outer boundary of the air) are the return at 0 V, an assumption that every result repeats.
"""

from evenfield.field.absorbed import Absorbed, absorbed_fraction
from evenfield.field.device import Cables, DeviceError, DeviceProfile, load_device_profile
from evenfield.field.diagnosis import Cause, Hypothesis, PlannedPanel, hypotheses, likely_causes
from evenfield.field.matching import Match, best_match
from evenfield.field.solve import Field, Material, solve_field

__all__ = [
    "Absorbed",
    "Cables",
    "Cause",
    "DeviceError",
    "DeviceProfile",
    "Field",
    "Hypothesis",
    "Match",
    "Material",
    "PlannedPanel",
    "absorbed_fraction",
    "best_match",
    "hypotheses",
    "likely_causes",
    "load_device_profile",
    "solve_field",
]
