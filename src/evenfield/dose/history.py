"""Integrals over a temperature history: every dose here is ∫ f(T(t)) dt with T linear between samples.

With F an antiderivative of f, a segment from a to b of length d gives exactly d·(F(b) − F(a))/(b − a): no
step is too long, and a crossing of a limit inside a segment is taken at its true time. Where a and b are
nearly equal, the mean of f(a) and f(b) is used instead.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

NEARLY_EQUAL_K = 1e-5
"""Below this difference the mean of the ends is taken. The laws here change by at most a factor 4 per kelvin,
so its relative error is below 2e-11; the error of the quotient above it, by cancellation, is below 1e-8."""

_BLOCK = 8192
"""Points taken at once, so that the arrays of one block stay in cache."""


class RateLaw(Protocol):
    """A rate in temperature, per unit of time, with its antiderivative in temperature."""

    def rate_and_antiderivative(self, temperature_c: Array) -> tuple[Array, Array]:
        """f(T) and F(T), each of the shape of `temperature_c` (°C); F is continuous."""


def integrate(minutes: ArrayLike, temperature_c: ArrayLike, law: RateLaw) -> Array:
    """∫ f(T(t)) dt in minutes × the unit of f, along the first axis.

    `minutes` (nt,) rises strictly; `temperature_c` (nt, ...) in °C, float32 or float64, is linear between
    samples. Returns float64 of shape (...); zero if there is one sample. Raises ValueError, one clear
    sentence, if shapes differ, times do not rise or a number is not finite.
    """
    times = np.asarray(minutes, dtype=np.float64)
    temperature = np.asarray(temperature_c)
    if times.ndim != 1 or times.size == 0 or temperature.shape[:1] != times.shape:
        raise ValueError(
            f"minutes has shape {times.shape} and temperature_c {temperature.shape}; "
            "allowed: (nt,) and (nt, ...) with the same nt of at least 1"
        )
    steps = np.diff(times)
    if not (np.all(np.isfinite(times)) and np.all(steps > 0.0)):
        raise ValueError("minutes must be finite and rise strictly from sample to sample")
    points = temperature.reshape(times.size, -1)
    total = np.empty(points.shape[1])
    for start in range(0, points.shape[1], _BLOCK):
        block = slice(start, start + _BLOCK)
        total[block] = _along(steps, points[:, block], law)
    return total.reshape(temperature.shape[1:])


def _along(steps: Array, temperature_c: NDArray[np.generic], law: RateLaw) -> Array:
    """The integral for one block (nt, n) of points."""
    total = np.zeros(temperature_c.shape[1])
    before = _finite(temperature_c[0])
    rate_before, anti_before = law.rate_and_antiderivative(before)
    for step, row in zip(steps, temperature_c[1:], strict=True):
        after = _finite(row)
        rate, anti = law.rate_and_antiderivative(after)
        change = after - before
        mean = 0.5 * (rate + rate_before)
        np.divide(anti - anti_before, change, out=mean, where=np.abs(change) >= NEARLY_EQUAL_K)
        total += step * mean
        before, rate_before, anti_before = after, rate, anti
    return total


def _finite(temperature_c: NDArray[np.generic]) -> Array:
    temperature = np.asarray(temperature_c, dtype=np.float64)
    if not np.all(np.isfinite(temperature)):
        raise ValueError("temperature_c must be finite everywhere")
    return temperature
