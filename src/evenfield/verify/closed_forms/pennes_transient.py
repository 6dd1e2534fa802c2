"""Bioheat in time, constant properties, temperatures as excess over the arterial temperature [K]."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

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


def cylinder_from_rest(
    r_m: Real,
    t_s: float,
    *,
    radius_m: float,
    conductivity_w_mk: float,
    heat_capacity_j_m3k: float,
    flow_w_m3k: float,
    source_w_m3: float,
    exchange_w_m2k: float,
    terms: int = 60,
) -> Real:
    """Excess [K] at `r_m` of a long cylinder, at 0 when the source comes on, in surroundings at 0.

    Bessel series with −k dT/dr = hT at the surface: β_n R the roots of x J₁(x) = (hR/k) J₀(x), and

        T = Σ q c_n / μ_n (1 − exp(−μ_n t/ρc)) J₀(β_n r),   μ_n = kβ_n² + W,
        c_n = 2 J₁(β_n R) / (β_n R (J₀(β_n R)² + J₁(β_n R)²))

    (H. S. Carslaw, J. C. Jaeger, *Conduction of Heat in Solids*, 2nd ed. 1959, sec. 7.7-7.8, with the loss
    term). The terms left out are below q R² / (k (π·terms)²).
    """
    biot = exchange_w_m2k * radius_m / conductivity_w_mk
    zeros = np.concatenate([[0.0], jn_zeros(1, terms)])
    roots = np.array(
        [
            brentq(lambda x: x * j1(x) - biot * j0(x), low + 1e-12, high - 1e-12)
            for low, high in pairwise(zeros)
        ]
    )
    loss = conductivity_w_mk * (roots / radius_m) ** 2 + flow_w_m3k
    weight = 2.0 * j1(roots) / (roots * (j0(roots) ** 2 + j1(roots) ** 2))
    amplitude = source_w_m3 * weight / loss * -np.expm1(-loss * t_s / heat_capacity_j_m3k)
    return np.asarray(j0(np.multiply.outer(np.asarray(r_m), roots / radius_m)) @ amplitude, dtype=np.float64)
