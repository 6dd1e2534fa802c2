"""Steady bioheat (Pennes) problems with an answer on paper.

Pennes' equation, H. H. Pennes, *J Appl Physiol* 1:93-122 (1948): with conductivity k, blood-flow term
W = ρ_b c_b w [W/(m³K)], arterial temperature T_b and heat source q [W/m³],

    ρc ∂T/∂t = ∇·(k∇T) + W (T_b − T) + q

For constant properties the steady excess over T_b + q/W is a combination of e^{±mx} (slab) or I₀(mr)
(cylinder), m = sqrt(W/k).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import i0, i1

Real = NDArray[np.float64]


@dataclass(frozen=True)
class PennesTissue:
    """Constant properties of one tissue: k [W/(m·K)], W [W/(m³K)], T_b [°C], q [W/m³]."""

    conductivity_w_mk: float
    flow_w_m3k: float
    arterial_c: float
    source_w_m3: float

    @property
    def decay_per_m(self) -> float:
        """m = sqrt(W/k) [1/m]; 1/m is the decay length."""
        return float(np.sqrt(self.flow_w_m3k / self.conductivity_w_mk))

    @property
    def deep_c(self) -> float:
        """Temperature far from any boundary, T_b + q/W [°C]."""
        return self.arterial_c + self.source_w_m3 / self.flow_w_m3k


@dataclass(frozen=True)
class Surface:
    """Exchange with the surroundings: −k dT/dn = h (T − T_e), h [W/(m²K)], T_e [°C]."""

    exchange_w_m2k: float
    surroundings_c: float


def slab(tissue: PennesTissue, thickness_m: float, core_c: float, surface: Surface, x_m: Real) -> Real:
    """Temperature [°C] at depths `x_m` of a slab held at `core_c` at x = 0, with `surface` at x = L."""
    m, k, L = tissue.decay_per_m, tissue.conductivity_w_mk, thickness_m
    h, deep = surface.exchange_w_m2k, tissue.deep_c
    # T = deep + A cosh(mx) + B sinh(mx)
    A = core_c - deep
    B = (h * (surface.surroundings_c - deep) - A * (k * m * np.sinh(m * L) + h * np.cosh(m * L))) / (
        k * m * np.cosh(m * L) + h * np.sinh(m * L)
    )
    x = np.asarray(x_m, dtype=np.float64)
    return np.asarray(deep + A * np.cosh(m * x) + B * np.sinh(m * x), dtype=np.float64)


@dataclass(frozen=True)
class CoveredSlab:
    """Temperature where the tissue meets its cover [°C] and heat flux to the surroundings [W/m²]."""

    interface_c: float
    flux_w_m2: float


def slab_under_cover(
    tissue: PennesTissue,
    thickness_m: float,
    core_c: float,
    cover_conductivity_w_mk: float,
    cover_thickness_m: float,
    surface: Surface,
) -> CoveredSlab:
    """A perfused slab under a bloodless, sourceless cover: the cover only adds its resistance in series.

    F. P. Incropera, D. P. DeWitt, T. L. Bergman, A. S. Lavine, *Fundamentals of Heat and Mass Transfer*,
    Example 3.12.
    """
    resistance = cover_thickness_m / cover_conductivity_w_mk + 1.0 / surface.exchange_w_m2k
    through = Surface(1.0 / resistance, surface.surroundings_c)
    interface = float(slab(tissue, thickness_m, core_c, through, np.array([thickness_m]))[0])
    return CoveredSlab(interface, (interface - surface.surroundings_c) / resistance)


def cylinder(tissue: PennesTissue, radius_m: float, surface: Surface, r_m: Real) -> Real:
    """Temperature [°C] at radii `r_m` of a long cylinder: deep + C·I₀(mr) (Pennes 1948, forearm)."""
    m, k, R, h = tissue.decay_per_m, tissue.conductivity_w_mk, radius_m, surface.exchange_w_m2k
    C = h * (surface.surroundings_c - tissue.deep_c) / (k * m * i1(m * R) + h * i0(m * R))
    return np.asarray(tissue.deep_c + C * i0(m * np.asarray(r_m)), dtype=np.float64)
