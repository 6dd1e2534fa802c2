"""Variance-based indices against the function that is made to test them."""

import numpy as np
import pytest
from numpy.typing import NDArray

from evenfield.tolerance.indices import sobol_indices

Floats = NDArray[np.float64]


def ishigami(shares: Floats) -> Floats:
    """T. Ishigami and T. Homma, Proc. ISUMA '90 (1990): sin x1 + a sin² x2 + b x3⁴ sin x1, x in −π..π, with
    a = 7, b = 0.1."""
    x = np.pi * (2.0 * shares - 1.0)
    y = np.sin(x[:, 0]) + 7.0 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])
    return np.stack([y, np.full(len(x), 3.0)], axis=1)


def test_ishigami_function() -> None:
    """Analytic: V = 13.8446; S1 0.3139, 0.4424, 0; ST 0.5576, 0.4424, 0.2437 (A. Saltelli et al., *Global
    Sensitivity Analysis: The Primer*, 2008, section 4.7, from the formulas of Ishigami and Homma)."""
    names, (found, constant) = sobol_indices(["x1", "x2", "x3"], ishigami, samples=4096, seed=1)
    assert names == ("x1", "x2", "x3")
    assert found["S1"] == pytest.approx([0.3139, 0.4424, 0.0], abs=0.01)
    assert found["ST"] == pytest.approx([0.5576, 0.4424, 0.2437], abs=0.01)
    assert np.all(constant["ST"] == 0.0)


def test_inputs_of_a_group_count_together() -> None:
    """x1 and x3 interact only with each other: as a group they hold what x2 leaves."""
    names, (found, _) = sobol_indices(
        ["x1", "x2", "x3"], ishigami, groups=["a", "b", "a"], samples=4096, seed=1
    )
    assert names == ("a", "b")
    assert found["S1"] == pytest.approx([0.5576, 0.4424], abs=0.01)
    assert found["ST"] == pytest.approx([0.5576, 0.4424], abs=0.01)


def test_same_seed_same_indices() -> None:
    first, second = (sobol_indices(["x1", "x2", "x3"], ishigami, samples=256, seed=5)[1] for _ in range(2))
    assert np.array_equal(first[0]["ST"], second[0]["ST"])
