"""Compiled code gives the same digits in the process that compiles it and in the next, which loads it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = """
import numpy as np
from evenfield.grid import kernels, relaxation

random = np.random.default_rng(3)
shape = (4, 8, 27, 12)
A = (random.standard_normal(shape) + 1j * random.standard_normal(shape)).astype(np.complex64)
x = (A[:, :, 5] * 1.0).astype(np.complex64)
A[:, :, 13] += 9.0
inverse, y = np.zeros_like(x), np.empty_like(x)
relaxation.factor_radial(A, inverse, 0)
kernels.apply(A, inverse, y)
relaxation.relax_radial(A, inverse, x, y, 1, 3)
print(y.tobytes().hex(), x.tobytes().hex(), kernels.dot(x, y))
"""


@pytest.mark.slow
def test_a_process_that_compiles_and_one_that_loads_agree(tmp_path: Path) -> None:
    """Fails with `fastmath=True` in `grid.kernels`."""
    own = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path), "NUMBA_NUM_THREADS": "1"}
    first, second = (
        subprocess.run(
            [sys.executable, "-c", SCRIPT], env=own, capture_output=True, text=True, check=True
        ).stdout
        for _ in range(2)
    )
    assert list(tmp_path.rglob("*.nbi")), "nothing was compiled here"
    assert first == second
