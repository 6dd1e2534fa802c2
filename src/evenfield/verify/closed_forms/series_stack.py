"""Flat layers in series between two plates, field normal to the layers.

The current density J is common to all layers, so with admittivity y_i = σ_i + jωε_i and thickness d_i

    V = J Σ d_i / y_i,     E_i = J / y_i,     SAR_i = σ_i |E_i|² / ρ_i

(series capacitor with losses; for example R. W. P. King, S. Prasad, *Fundamental Electromagnetic Theory and
Applications*, 1986, ch. 3). Exact for plates without edges: layers much wider than the stack is thick.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class StackField:
    """Field in a stack: current density [A/m², complex rms] and field per layer [V/m, complex rms]."""

    current_density: complex
    field: NDArray[np.complex128]


def solve_stack(
    voltage_v: complex, thickness_m: Sequence[float], admittivity: Sequence[complex]
) -> StackField:
    """Field of a stack of flat layers under an applied voltage.

    Parameters: `voltage_v` [V rms]; per layer `thickness_m` [m] and complex `admittivity` [S/m], both (n,).
    Raises ValueError when the two do not have the same length.
    """
    d = np.asarray(thickness_m, dtype=np.float64)
    y = np.asarray(admittivity, dtype=np.complex128)
    if d.shape != y.shape:
        raise ValueError(
            f"thickness_m has {d.size} layers and admittivity {y.size}: give one of each per layer"
        )
    current = complex(voltage_v / np.sum(d / y))
    return StackField(current, current / y)


def normal_heating_ratio(admittivity: complex, other: complex) -> float:
    """Loss density of a layer against another one in series with it: (σ/|y|²) / (σ'/|y'|²)."""
    return (admittivity.real / abs(admittivity) ** 2) / (other.real / abs(other) ** 2)
