"""Evenness against distributions whose percentiles are known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfield.dose import evenness


def test_all_the_same_is_one() -> None:
    even = evenness(np.full((5, 7), 3.2), np.linspace(1, 2, 35).reshape(5, 7))
    assert even.ratio == pytest.approx(1.0)
    assert even.coefficient_of_variation == pytest.approx(0.0, abs=1e-12)
    assert even.mean == pytest.approx(3.2)


def test_a_linear_tilt() -> None:
    """Heating from 1 to 3 across the panel: q10 1.2, q90 2.8, ratio 3/7; spread of the uniform
    distribution (3 − 1)/sqrt(12) over its mean 2."""
    s = 1.0 + 2.0 * (np.arange(1000) + 0.5) / 1000
    even = evenness(s, np.ones(1000))
    assert even.ratio == pytest.approx(3.0 / 7.0, rel=1e-9)
    assert even.low == pytest.approx(1.2)
    assert even.high == pytest.approx(2.8)
    assert even.coefficient_of_variation == pytest.approx(1.0 / math.sqrt(12.0), rel=1e-5)


def test_weights_are_areas_whatever_the_grid() -> None:
    """The same tilt on a grid that is five times finer where heating is low, given its areas."""
    edges = np.concatenate([np.linspace(0.0, 0.5, 501), np.linspace(0.5, 1.0, 101)[1:]])
    s, area = 1.0 + (edges[1:] + edges[:-1]), np.diff(edges)
    assert evenness(s, area).ratio == pytest.approx(3.0 / 7.0, rel=1e-6)
    assert evenness(s, np.ones_like(s)).ratio == pytest.approx(1.12 / 2.4)  # wrong without areas


def test_coarse_grids_come_close() -> None:
    """Reading between the pieces makes even twenty pieces a side good to a percent."""
    x = (np.arange(20) + 0.5) / 20
    s = np.exp(np.add.outer(x, 0 * x))
    assert evenness(s, np.ones((20, 20))).ratio == pytest.approx(math.exp(-0.8), rel=0.01)


values = st.lists(st.floats(0.01, 100.0), min_size=1, max_size=30)


@given(values, st.floats(0.01, 100.0), st.floats(0.01, 100.0))
def test_units_do_not_matter(given_values: list[float], factor: float, area: float) -> None:
    weights = np.linspace(1.0, 3.0, len(given_values))
    one = evenness(given_values, weights)
    other = evenness(factor * np.array(given_values), area * weights)
    assert 0.0 < one.ratio <= 1.0
    assert other.ratio == pytest.approx(one.ratio)
    assert other.coefficient_of_variation == pytest.approx(one.coefficient_of_variation, abs=1e-7)


def test_order_and_pieces_without_area_do_not_matter() -> None:
    s, a = np.array([3.0, 1.0, 2.0, 5.0]), np.array([1.0, 2.0, 1.0, 3.0])
    with_empty = evenness([*s[::-1], 99.0], [*a[::-1], 0.0])
    assert with_empty == evenness(s, a)


def test_a_single_peak_on_little_area_is_as_uneven_as_can_be() -> None:
    s = np.zeros(100)
    s[0] = 1.0
    assert evenness(s, np.ones(100)).ratio == 0.0


@pytest.mark.parametrize(
    ("given_values", "weights", "message"),
    [
        ([1.0, 2.0], [1.0], "2 values and 1 weights"),
        ([1.0, math.nan], [1.0, 1.0], "finite values"),
        ([1.0, -1.0], [1.0, 1.0], "not negative"),
        ([1.0, 1.0], [1.0, -1.0], "not negative"),
        ([1.0], [0.0], "at least one piece"),
        ([0.0, 0.0], [1.0, 1.0], "at least one piece"),
        ([], [], "at least one piece"),
    ],
)
def test_bad_input_is_refused(given_values: list[float], weights: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        evenness(given_values, weights)
