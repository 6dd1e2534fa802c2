"""Grids by hand: a coaxial line of two layers has an answer on paper."""

import numpy as np
import pytest

from evenfield.verify.hand_grid import concentric


def test_coaxial_line_of_two_layers() -> None:
    """I = V / Σ ln(b/a)/(2πy); power I²Σ... per metre (textbook, C)."""
    bounds, y = (0.02, 0.05, 0.09), (0.5 + 0.2j, 0.05 + 0.01j)
    grid = concentric(bounds, y, (16, 16), around=64)
    potential = grid.solve(np.zeros(64), np.full(64, 10.0))
    resistance = [np.log(b / a) / (2.0 * np.pi * v) for a, b, v in zip(bounds, bounds[1:], y, strict=False)]
    current = 10.0 / sum(resistance)
    expected = [abs(current) ** 2 * r.real for r in resistance]
    assert grid.loss_between(potential, bounds) == pytest.approx(expected, rel=2e-3)
    assert potential[0, 0, 16] == pytest.approx(current * resistance[0], rel=2e-3)
