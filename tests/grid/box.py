"""Small grids made by hand: an annulus that is periodic in angle, with distorted inner nodes if asked."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def annulus(nk: int = 5, nj: int = 12, ni: int = 5, wobble: float = 0.0, inner: float = 1.0) -> Floats:
    """Nodes (3, nk, nj, ni) between radii `inner` and `inner` + 1 and levels 0 and 1; inner nodes
    displaced."""
    rng = np.random.default_rng(7)
    r = np.linspace(inner, inner + 1.0, ni)
    theta = np.arange(nj) * 2 * np.pi / nj
    z = np.linspace(0.0, 1.0, nk)
    zz, tt, rr = np.meshgrid(z, theta, r, indexing="ij")
    nodes = np.stack([rr * np.cos(tt), rr * np.sin(tt), zz])
    nodes[:, 1:-1, :, 1:-1] += wobble * rng.uniform(-1, 1, nodes[:, 1:-1, :, 1:-1].shape)
    return np.ascontiguousarray(nodes)
