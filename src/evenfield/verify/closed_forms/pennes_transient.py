"""Bioheat in time, constant properties, temperatures as excess over the arterial temperature [K]."""

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]


def slab_with_cold_faces(
    x_m: Real,
    t_s: float,
    *,
    thickness_m: float,
    conductivity_w_mk: float,
    heat_capacity_j_m3k: float,
    flow_w_m3k: float,
    source_w_m3: float,
    terms: int = 400,
) -> Real:
    """Excess [K] at `x_m` and time `t_s` of a slab at 0, both faces kept at 0, source on from t = 0.

    Sine series: with λ_j = jπ/L and μ_j = kλ_j² + W,

        T = Σ_{j odd} 4q/(jπ μ_j) (1 − exp(−μ_j t/ρc)) sin λ_j x

    (separation of variables; H. S. Carslaw, J. C. Jaeger, *Conduction of Heat in Solids*, 2nd ed. 1959,
    sec. 3.14 with the loss term of sec. 1.9). `terms` odd orders are summed; the remainder of the slowest
    part is below q L² / (k π³ terms²).
    """
    j = np.arange(1, 2 * terms, 2, dtype=np.float64)
    wave = j * np.pi / thickness_m
    loss = conductivity_w_mk * wave**2 + flow_w_m3k
    amplitude = 4.0 * source_w_m3 / (j * np.pi * loss) * -np.expm1(-loss * t_s / heat_capacity_j_m3k)
    return np.asarray(np.sin(np.multiply.outer(np.asarray(x_m), wave)) @ amplitude, dtype=np.float64)


def slab_with_cold_faces_steady(
    x_m: Real, *, thickness_m: float, conductivity_w_mk: float, flow_w_m3k: float, source_w_m3: float
) -> Real:
    """The limit t → ∞ in closed form: (q/W)(1 − cosh(m(x − L/2))/cosh(mL/2)), m = sqrt(W/k) [K]."""
    m = np.sqrt(flow_w_m3k / conductivity_w_mk)
    x = np.asarray(x_m, dtype=np.float64)
    profile = np.cosh(m * (x - thickness_m / 2.0)) / np.cosh(m * thickness_m / 2.0)
    return np.asarray(source_w_m3 / flow_w_m3k * (1.0 - profile), dtype=np.float64)


def uniform_source(t_s: Real, *, heat_capacity_j_m3k: float, flow_w_m3k: float, source_w_m3: float) -> Real:
    """Excess [K] without conduction: (q/W)(1 − exp(−tW/ρc)); ρc [J/(m³K)], W [W/(m³K)], q [W/m³]."""
    t = np.asarray(t_s, dtype=np.float64)
    return -source_w_m3 / flow_w_m3k * np.expm1(-t * flow_w_m3k / heat_capacity_j_m3k)
