"""Few shapes for many states: proper orthogonal decomposition, and the nodes that stand for all others.

Proper orthogonal decomposition in a weighted inner product by the method of snapshots (Sirovich, *Quart.
Appl. Math.* 45:561, 1987); interpolation of a pointwise nonlinear term from few nodes, chosen by pivoted QR
(Chaturantabut and Sorensen, *SIAM J. Sci. Comput.* 32:2737, 2010; Drmač and Gugercin, ibid. 38:A631, 2016).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import qr

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Integers = NDArray[np.int64]
CHUNK = 5
"""Shapes are added this many at a time."""


def _shapes(snapshots: Singles, weight: Floats, most: int) -> tuple[Singles, Floats]:
    """Leading orthonormal shapes (n_nodes, up to `most`) of the snapshots times √weight, and their relative
    singular values."""
    root = np.sqrt(weight).astype(np.float32)
    scaled = snapshots * root
    gram = (scaled @ scaled.T).astype(np.float64)
    value, vector = np.linalg.eigh(gram)
    value, vector = value[::-1], vector[:, ::-1]
    # single precision of the snapshots' products bounds what can be told from rounding
    count = min(most, int(np.sum(value > 1e-11 * value[0])))
    combine = (vector[:, :count] / np.sqrt(value[:count])).astype(np.float32)
    orthonormal, _ = np.linalg.qr(scaled.T @ combine)
    return orthonormal.astype(np.float32), np.sqrt(value[:count] / value[0])


def basis(
    snapshots: Singles, capacity: Floats, watched: NDArray[np.bool_], error_k: float, most: int
) -> Floats:
    """Shapes V (n_nodes, r), orthonormal in the capacity (Vᵀ C V = I), that hold the snapshots (n, n_nodes)
    to `error_k` at every watched node, or as well as `most` shapes can."""
    orthonormal, _ = _shapes(snapshots, capacity, most)
    root = np.sqrt(capacity).astype(np.float32)
    amounts = (snapshots * root) @ orthonormal
    at = (orthonormal / root[:, None])[watched]
    left = snapshots[:, watched].copy()
    error = float(np.max(np.abs(left)))
    count = 0
    while error > error_k and count < orthonormal.shape[1]:
        part = slice(count, min(count + CHUNK, orthonormal.shape[1]))
        left -= amounts[:, part] @ at[:, part].T
        error = float(np.max(np.abs(left)))
        count = part.stop
    shapes: Floats = orthonormal[:, :count].astype(np.float64) / np.sqrt(capacity)[:, None]
    return shapes


def interpolation(snapshots: Singles, weight: Floats, accuracy: float, most: int) -> tuple[Integers, Floats]:
    """Nodes (m,) and shapes (n_nodes, m) with term ≈ shapes @ term[nodes], for a term with these snapshots
    (n, n_nodes). Shapes with a relative singular value below `accuracy` are left out. Weight: of squared
    errors per node; nodes of no weight must hold no term."""
    if not np.any(snapshots):
        return np.zeros(0, dtype=np.int64), np.zeros((snapshots.shape[1], 0))
    orthonormal, value = _shapes(snapshots, weight, most)
    orthonormal = orthonormal[:, value > accuracy]
    count = orthonormal.shape[1]
    _, _, pivot = qr(orthonormal.T, mode="economic", pivoting=True)
    nodes = np.asarray(pivot[:count], dtype=np.int64)
    root = np.sqrt(weight)
    raised: Any = orthonormal.astype(np.float64) / np.where(root > 0, root, 1.0)[:, None]
    return nodes, np.asarray(np.linalg.solve(raised[nodes].T, raised.T).T)
