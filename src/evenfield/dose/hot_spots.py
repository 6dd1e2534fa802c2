"""Hot spots: places hotter than their surroundings, the hottest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import KDTree

from evenfield.dose.history import Array


@dataclass(frozen=True)
class HotSpot:
    """One hot spot: `value` in the unit of the values given, `tissue`, `position_m` (x, y, z).

    `index` is its point in the arrays given, by which the caller finds all else it knows of that point.
    """

    value: float
    tissue: str
    position_m: tuple[float, float, float]
    index: int


def find_hot_spots(
    values: ArrayLike,
    tissues: Sequence[str] | NDArray[np.str_],
    positions_m: ArrayLike,
    *,
    count: int = 5,
    apart_m: float = 0.020,
) -> list[HotSpot]:
    """The `count` hottest distinct hot spots, hottest first; fewer if there are fewer.

    A point is a hot spot if no point of the same tissue within `apart_m` of it is hotter (of equals, the
    first counts). So the flank of a broad hot place is not a second spot, and a spot in skin does not hide
    one in the fat under it.

    Arguments: `values` (n,) temperature, dose or SAR; `tissues` (n,) names; `positions_m` (n, 3) in m;
    `apart_m` > 0. Raises ValueError (one clear sentence) for bad shapes or numbers.
    """
    value = np.asarray(values, dtype=np.float64)
    name = np.asarray(tissues)
    position = np.asarray(positions_m, dtype=np.float64)
    if value.ndim != 1 or name.shape != value.shape or position.shape != (value.size, 3):
        raise ValueError(
            f"hot spots got shapes {value.shape}, {name.shape} and {position.shape}; "
            "allowed: (n,), (n,) and (n, 3)"
        )
    if not (np.all(np.isfinite(value)) and np.all(np.isfinite(position))):
        raise ValueError("hot spots need finite values and positions")
    if not apart_m > 0.0:
        raise ValueError(f"apart_m is {apart_m:g} m; allowed: above 0")
    found: list[HotSpot] = []
    for tissue in np.unique(name):
        members = np.flatnonzero(name == tissue)
        for local in _peaks(value[members], position[members], count, apart_m):
            index = int(members[local])
            x, y, z = (float(part) for part in position[index])
            found.append(HotSpot(float(value[index]), str(tissue), (x, y, z), index))
    return sorted(found, key=lambda spot: (-spot.value, spot.index))[:count]


def _peaks(value: Array, position: Array, count: int, apart: float) -> list[int]:
    """Indices of the `count` hottest points that no point within `apart` exceeds."""
    # A peak is the hottest point of its cell if no two points of a cell are farther apart than `apart`.
    cell = np.floor((position - position.min(axis=0)) * (np.sqrt(3.0) / apart)).astype(np.int64)
    key = np.ravel_multi_index(tuple(cell.T), tuple(cell.max(axis=0) + 1))
    order = np.argsort(-value, kind="stable")
    _, first = np.unique(key[order], return_index=True)
    candidates = order[np.sort(first)]
    # Most of these are exceeded by the hottest point of a cell nearby: the later of each pair is no peak.
    exceeded = KDTree(position[candidates]).query_pairs(apart, output_type="ndarray")[:, 1]
    candidates = np.delete(candidates, exceeded)
    tree = KDTree(position, balanced_tree=False, compact_nodes=False)
    peaks: list[int] = []
    for index in candidates:
        if len(peaks) == count:
            break
        near = np.asarray(tree.query_ball_point(position[index], apart))
        hotter = (value[near] > value[index]) | ((value[near] == value[index]) & (near < index))
        if not np.any(hotter):
            peaks.append(int(index))
    return peaks
