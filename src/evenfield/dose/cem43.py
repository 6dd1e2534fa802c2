"""Thermal dose as cumulative equivalent minutes at 43 °C."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from evenfield.dose.history import Array, integrate

CUT_OFF_C = 39.0
"""Below this temperature no dose is counted (Dewhirst et al., Int. J. Hyperthermia 19:267, 2003)."""

_LN4, _LN2 = math.log(4.0), math.log(2.0)


@dataclass(frozen=True)
class _Cem43Law:
    """R^(43 − T), R = 0.5 at or above 43 °C, 0.25 below, nothing below the cut-off."""

    cut_off_c: float

    def rate_and_antiderivative(self, temperature_c: Array) -> tuple[Array, Array]:
        below = np.exp(_LN4 * (temperature_c - 43.0))
        above = np.sqrt(below)  # 2^x = sqrt(4^x)
        at_cut_off = math.exp(_LN4 * (self.cut_off_c - 43.0)) / _LN4
        at_43 = 1.0 / _LN4 - at_cut_off
        hot = temperature_c >= 43.0
        rate = np.where(hot, above, below)
        anti = np.where(hot, above / _LN2 + (at_43 - 1.0 / _LN2), below / _LN4 - at_cut_off)
        counted = temperature_c >= self.cut_off_c
        return np.where(counted, rate, 0.0), np.where(counted, anti, 0.0)


def cem43(minutes: ArrayLike, temperature_c: ArrayLike, cut_off_c: float | None = CUT_OFF_C) -> Array:
    """Cumulative equivalent minutes at 43 °C of a temperature history.

    CEM43 = ∫ R^(43 − T) dt, R = 0.5 at or above 43 °C and 0.25 below, 0 below the cut-off (S. A. Sapareto and
    W. C. Dewey, Int. J. Radiat. Oncol. Biol. Phys. 10:787, 1984). Exact for T linear between samples.

    Valid for minutes to hours between about 39 and 50 °C. It ranks heat histories; it says nothing about what
    becomes of fat, for which no heat-survival curve has been published.

    Arguments: `minutes` (nt,) strictly rising; `temperature_c` (nt, ...) in °C, float32 or float64;
    `cut_off_c` at most 43 °C, or None to count all temperatures. Returns minutes, float64 of shape (...).
    Raises ValueError (one clear sentence) for bad shapes, times, temperatures or cut-off.
    """
    if cut_off_c is None:
        cut_off_c = -math.inf
    if not cut_off_c <= 43.0:
        raise ValueError(f"cut_off_c is {cut_off_c:g} °C; allowed: at most 43 °C, or None")
    return integrate(minutes, temperature_c, _Cem43Law(cut_off_c))
