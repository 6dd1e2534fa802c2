"""Monotone interpolation: along the levels with flat ends, and around the region through four directions.

Both are piecewise cubic Hermite interpolants with the harmonic-mean slopes of Fritsch & Butland (SIAM J. Sci.
Stat. Comput. 5:300, 1984), as in SciPy's `PchipInterpolator`: no overshoot, so a thickness never falls below
the smallest or rises above the largest measured.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from evenfield.body.ellipse import FloatArray

if TYPE_CHECKING:
    from scipy.interpolate import CubicHermiteSpline


@dataclass(frozen=True)
class FlatEnded:
    """Values at ascending levels, interpolated monotonically; constant beyond the ends, with continuous
    slope.

    The slopes at the two ends are set to zero, which keeps the interpolant monotone. Between only two levels
    this departs from a straight taper by at most 9.6 % of their difference.
    """

    level: FloatArray
    values: FloatArray
    _spline: CubicHermiteSpline | None = field(init=False, repr=False)
    _slope: CubicHermiteSpline | None = field(init=False, repr=False)

    def __post_init__(self) -> None:
        # read in here: a clinic's server starts without it
        from scipy.interpolate import CubicHermiteSpline, PchipInterpolator

        spline = slope = None
        if len(self.level) > 1:
            slopes = np.asarray(PchipInterpolator(self.level, self.values)(self.level, 1))
            slopes[0] = slopes[-1] = 0.0
            spline = CubicHermiteSpline(self.level, self.values, slopes)
            slope = spline.derivative()
        object.__setattr__(self, "_spline", spline)
        object.__setattr__(self, "_slope", slope)

    def __call__(self, level: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Value and derivative at `level`; shape `level.shape + values.shape[1:]`."""
        if self._spline is None or self._slope is None:
            shape = level.shape + self.values.shape[1:]
            return np.broadcast_to(self.values[0], shape), np.zeros(shape)
        inside = np.clip(level, self.level[0], self.level[-1])
        return np.asarray(self._spline(inside)), np.asarray(self._slope(inside))


@dataclass(frozen=True)
class Expansion:
    """A thickness and its derivatives at a place: enough to follow it a short way in angle and level."""

    value: FloatArray
    by_angle: FloatArray
    by_angle_twice: FloatArray
    by_level: FloatArray

    def at(self, turn: FloatArray, shift: FloatArray) -> FloatArray:
        """Value a small `turn` (rad) and `shift` (m) away: second order in angle, first in level."""
        return self.value + turn * (self.by_angle + 0.5 * turn * self.by_angle_twice) + shift * self.by_level


@dataclass(frozen=True)
class AroundFour:
    """Interpolation around the region through values at 0, 90, 180 and 270 degrees, which may vary with
    level.

    `values` and `rates` (derivative along the level) have the four directions on axis 0 and broadcast with
    the angle on the other axes.
    """

    values: FloatArray
    rates: FloatArray
    _slopes: FloatArray = field(init=False, repr=False)
    _slope_rates: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        after = np.roll(self.values, -1, axis=0) - self.values
        before = np.roll(after, 1, axis=0)
        after_rate = np.roll(self.rates, -1, axis=0) - self.rates
        before_rate = np.roll(after_rate, 1, axis=0)
        same = after * before > 0
        total = np.where(same, after + before, 1.0)
        slope = np.where(same, 2 * after * before / total, 0.0)
        rate = np.where(same, 2 * (after**2 * before_rate + before**2 * after_rate) / total**2, 0.0)
        object.__setattr__(self, "_slopes", slope)
        object.__setattr__(self, "_slope_rates", rate)

    def __call__(self, angle: FloatArray) -> FloatArray:
        """Value at `angle`, in the broadcast shape of angle and level."""
        return _weighted(self.values, self._slopes, _hermite(angle, 0))

    def expand(self, angle: FloatArray) -> Expansion:
        """Value and derivatives at `angle`, each in the broadcast shape of angle and level."""
        plain, once, twice = (_hermite(angle, order) for order in range(3))
        return Expansion(
            value=_weighted(self.values, self._slopes, plain),
            by_angle=_weighted(self.values, self._slopes, once),
            by_angle_twice=_weighted(self.values, self._slopes, twice),
            by_level=_weighted(self.rates, self._slope_rates, plain),
        )


def _hermite(angle: FloatArray, order: int) -> tuple[FloatArray, FloatArray]:
    """Weights of the four values and four slopes (per quarter turn) at `angle`, or their derivatives."""
    quarter = 0.5 * np.pi
    turn = angle / quarter
    x = turn - np.floor(turn)
    here = np.floor(turn).astype(np.intp) % 4
    if order == 0:
        near, far = (1 + 2 * x) * (1 - x) ** 2, (3 - 2 * x) * x * x
        leave, arrive = x * (1 - x) ** 2, -x * x * (1 - x)
    elif order == 1:
        near, far = 6 * x * (x - 1), 6 * x * (1 - x)
        leave, arrive = (1 - x) * (1 - 3 * x), x * (3 * x - 2)
    else:
        near, far = 12 * x - 6, 6 - 12 * x
        leave, arrive = 6 * x - 4, 6 * x - 2
    direction = np.arange(4).reshape(4, *(1,) * np.ndim(angle))
    at_here, at_there = direction == here, direction == (here + 1) % 4
    unit = quarter**-order
    return unit * (at_here * near + at_there * far), unit * (at_here * leave + at_there * arrive)


def _weighted(values: FloatArray, slopes: FloatArray, weights: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Sum over the four directions, one by one, so that small angle and level arrays broadcast late."""
    of_value, of_slope = weights
    total = values[0] * of_value[0]
    for direction in range(4):
        if direction:
            total = total + values[direction] * of_value[direction]
        total = total + slopes[direction] * of_slope[direction]
    return np.asarray(total)
