"""The ensemble filter's step: one scalar observation at a time, deterministic, with a test for surprise.

With members x_i, what they predict h_i, an observation y of error variance R, and a prime for the deviation
from the mean over N members:
    c = Σ h'_i x'_i / (N − 1),  s = Σ h'_i² / (N − 1) + R,  α = 1 / (1 + √(R/s))
    mean += c (y − mean h) / s,  x'_i −= α c h'_i / s
which is the ensemble square-root filter (Whitaker and Hamill, *Mon. Weather Rev.* 130:1913, 2002; equivalent
for one number to Anderson's adjustment filter, *Mon. Weather Rev.* 129:2884, 2001) of Evensen's ensemble
Kalman filter (*J. Geophys. Res.* 99:10143, 1994). It draws no numbers: the same input gives the same output.
Observations with independent errors may be taken one after the other (serial form).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
FloatT = TypeVar("FloatT", np.float32, np.float64)


@dataclass(frozen=True)
class Update:
    """What one observation does to any quantity of the ensemble.

    `weight` (members,) = w and `project` (members,) = p: a quantity x becomes x + w (p·x). `surprise`: the
    innovation over the spread expected of it. `trusted`: error variance in use.
    """

    weight: Floats
    project: Floats
    surprise: float
    trusted: float

    def on(self, x: NDArray[FloatT], taper: Floats | None = None) -> NDArray[FloatT]:
        """The quantities x (members, m) after it; `taper` (m,) weakens the effect on each, 0 to 1."""
        reach = self.project.astype(x.dtype) @ x
        if taper is not None:
            reach = reach * taper.astype(x.dtype)
        return np.asarray(x + np.multiply.outer(self.weight.astype(x.dtype), reach))


def update(predicted: Floats, observed: float, variance: float, *, most: float = np.inf) -> Update:
    """The update by one observation that the members predict as `predicted` (members,).

    `most`: an innovation beyond so many expected spreads lets the observation be trusted less, until it is
    just so many (bounded influence, as in Huber's robust estimate).
    """
    n = predicted.size
    deviation = predicted - predicted.mean()
    own = float(deviation @ deviation) / (n - 1)
    innovation = observed - float(predicted.mean())
    expected = own + variance
    surprise = innovation / float(np.sqrt(expected))
    if abs(surprise) > most:
        variance = (innovation / most) ** 2 - own
        expected = own + variance
    alpha = 1.0 / (1.0 + np.sqrt(variance / expected))
    weight = (innovation - alpha * deviation) / expected
    return Update(weight, deviation / (n - 1), surprise, variance)


def widened(x: NDArray[FloatT], factor: Floats | float) -> NDArray[FloatT]:
    """Members (members, m) with their deviations from the mean times `factor`, a number or (m,)."""
    mean = x.mean(axis=0)
    return np.asarray(mean + (x - mean) * np.asarray(factor, dtype=x.dtype))
