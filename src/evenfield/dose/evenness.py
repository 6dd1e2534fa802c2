"""Evenness: how alike the heating of fat is under the panels. This is the one definition of the word."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from evenfield.dose.history import Array


@dataclass(frozen=True)
class Evenness:
    """How alike the values are: 1 means all the same, 0 means a tenth of the area gets nothing.

    `ratio` = q10 / q90 (-); `low`, `high`, `mean` are q10, q90 and the weighted mean, in the unit of the
    values; `coefficient_of_variation` = weighted standard deviation / mean (-), 0 for all the same.
    """

    ratio: float
    low: float
    high: float
    mean: float
    coefficient_of_variation: float


def evenness(values: ArrayLike, weights: ArrayLike) -> Evenness:
    """Evenness of fat heating over the footprint of the panels.

    evenness = q10 / q90, with q_p the area-weighted p-th percentile of the depth-averaged fat SAR over the
    part of the skin that lies under a panel: the least value s such that pieces of skin with values up to s
    make up at least p percent of the area. (So cutting a piece in two changes nothing, and evenness follows
    the values without jumps; pieces of equal area a out of A leave an uncertainty of one place in the order,
    a/A of the area.)

    Arguments: `values` (n, any shape) depth-averaged fat SAR of each piece of skin (W/kg, or per watt), not
    negative; `weights` of the same shape, its area (any unit), not negative. Pieces of no area count
    nothing. Raises ValueError (one clear sentence) if nothing is left or all is zero.
    """
    value = np.asarray(values, dtype=np.float64).ravel()
    weight = np.asarray(weights, dtype=np.float64).ravel()
    if value.shape != weight.shape:
        raise ValueError(
            f"evenness got {value.size} values and {weight.size} weights; allowed: as many of each"
        )
    if not (np.all(np.isfinite(value)) and np.all(np.isfinite(weight))):
        raise ValueError("evenness needs finite values and weights")
    if np.any(value < 0.0) or np.any(weight < 0.0):
        raise ValueError("evenness needs values and weights that are not negative")
    kept = weight > 0.0
    value, weight = value[kept], weight[kept]
    if value.size == 0 or not np.any(value > 0.0):
        raise ValueError("evenness needs at least one piece of skin with area and heating under a panel")
    low, high = weighted_quantiles(value, weight, (0.1, 0.9))
    mean = float(np.average(value, weights=weight))
    spread = float(np.sqrt(np.average((value - mean) ** 2, weights=weight)))
    # Single peaks on less than a tenth of the area leave both percentiles at zero: as uneven as can be.
    ratio = low / high if high > 0.0 else 0.0
    return Evenness(ratio=ratio, low=low, high=high, mean=mean, coefficient_of_variation=spread / mean)


def weighted_quantiles(values: Array, weights: Array, shares: tuple[float, ...]) -> tuple[float, ...]:
    """The least value such that values up to it carry each of `shares` (0..1) of the total weight."""
    order = np.argsort(values, kind="stable")
    carried = np.cumsum(weights[order])
    # Rounding must not decide where a share falls exactly between two values.
    wanted = np.asarray(shares) * carried[-1] * (1.0 - 1e-12)
    return tuple(float(q) for q in values[order][np.searchsorted(carried, wanted)])
