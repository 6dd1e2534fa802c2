"""Time until a temperature is reached, and time spent in a band of temperatures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from evenfield.dose.history import Array, integrate


@dataclass(frozen=True)
class _InBand:
    low_c: float
    high_c: float

    def rate_and_antiderivative(self, temperature_c: Array) -> tuple[Array, Array]:
        inside = (temperature_c >= self.low_c) & (temperature_c <= self.high_c)
        return inside.astype(np.float64), np.clip(temperature_c, self.low_c, self.high_c)


def minutes_in_band(minutes: ArrayLike, temperature_c: ArrayLike, low_c: float, high_c: float) -> Array:
    """Minutes with low_c <= T <= high_c (°C), exact for T linear between samples.

    Arguments: `minutes` (nt,) strictly rising; `temperature_c` (nt, ...) in °C, float32 or float64; `high_c`
    may be infinite. Returns minutes, float64 of shape (...). Raises ValueError (one clear sentence) for bad
    shapes, times or temperatures, or if the band is upside down.
    """
    if not low_c < high_c:
        raise ValueError(f"the band is {low_c:g} to {high_c:g} °C; allowed: a low end below the high end")
    return integrate(minutes, temperature_c, _InBand(low_c, high_c))


def crossing(minutes: ArrayLike, series: ArrayLike, level: float) -> float | None:
    """The first time at which a series (nt,) reaches a level from below, linear between samples; None if
    never."""
    time, value = np.asarray(minutes, dtype=np.float64), np.asarray(series, dtype=np.float64)
    above = np.flatnonzero(value >= level)
    if above.size == 0:
        return None
    n = int(above[0])
    if n == 0:
        return float(time[0])
    share = (level - value[n - 1]) / (value[n] - value[n - 1])
    return float(time[n - 1] + share * (time[n] - time[n - 1]))
