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
    assert even.ratio == pytest.approx(3.0 / 7.0, rel=1e-3)
    # One place in the order of a thousand is 0.002 here.
    assert even.low == pytest.approx(1.2, abs=0.0021)
    assert even.high == pytest.approx(2.8, abs=0.0021)
    assert even.coefficient_of_variation == pytest.approx(1.0 / math.sqrt(12.0), rel=1e-5)


def test_the_coefficient_of_variation_is_weighted() -> None:
    """1 on three quarters, 3 on one: mean 1.5, spread sqrt(0.75·0.25 + 0.25·2.25) = 0.8660, by hand."""
    even = evenness([1.0, 3.0], [3.0, 1.0])
    assert even.mean == pytest.approx(1.5)
    assert even.coefficient_of_variation == pytest.approx(math.sqrt(0.75) / 1.5)


def test_weights_are_areas_whatever_the_grid() -> None:
    """The same tilt on a grid that is five times finer where heating is low, given its areas."""
    edges = np.concatenate([np.linspace(0.0, 0.5, 501), np.linspace(0.5, 1.0, 101)[1:]])
    s, area = 1.0 + (edges[1:] + edges[:-1]), np.diff(edges)
    assert evenness(s, area).ratio == pytest.approx(3.0 / 7.0, rel=5e-3)
    assert evenness(s, np.ones_like(s)).ratio == pytest.approx(1.12 / 2.4, rel=5e-3)  # wrong without areas


def test_cutting_pieces_changes_nothing() -> None:
    rng = np.random.default_rng(3)
    s, area = rng.uniform(1, 4, 200), rng.uniform(0.5, 2, 200)
    share = rng.uniform(0.1, 0.9, 200)
    cut = evenness(np.concatenate([s, s]), np.concatenate([share * area, (1 - share) * area]))
    whole = evenness(s, area)
    assert (cut.low, cut.high) == (whole.low, whole.high)
    assert cut.coefficient_of_variation == pytest.approx(whole.coefficient_of_variation)


def test_by_hand() -> None:
    """Ten pieces of one area with values 1 to 10: values up to 1 make 10 %, up to 9 make 90 %."""
    even = evenness(np.arange(10.0, 0.0, -1.0), np.ones(10))
    assert (even.low, even.high) == (1.0, 9.0)
    assert even.ratio == pytest.approx(1.0 / 9.0)


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
