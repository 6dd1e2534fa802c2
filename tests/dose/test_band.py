"""Time in a band of temperatures, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfield.dose import crossing, minutes_in_band


@pytest.mark.parametrize(
    ("history", "expected"),
    [
        # Ten minutes in one straight line; band 42 to 45 °C; answers by proportion.
        ([37.0, 47.0], 3.0),
        ([47.0, 37.0], 3.0),
        ([43.0, 44.0], 10.0),
        ([40.0, 42.0], 0.0),
        ([44.0, 46.0], 5.0),
        ([43.0, 43.0], 10.0),
        ([45.0, 45.0], 10.0),
        ([45.001, 45.001], 0.0),
        ([41.0, 41.0], 0.0),
    ],
)
def test_one_segment_by_hand(history: list[float], expected: float) -> None:
    assert float(minutes_in_band([0.0, 10.0], history, 42.0, 45.0)) == pytest.approx(expected, abs=1e-9)


def test_visit_by_hand() -> None:
    """Warm 36 → 44 in 16 min, hold 10, cool to 40 in 8: enters 42 at minute 12, leaves at 30 → 18 min."""
    got = minutes_in_band([0, 16, 26, 34], np.array([[36, 44, 44, 40], [36, 37, 37, 36]]).T, 42.0, 45.0)
    np.testing.assert_allclose(got, [18.0, 0.0], atol=1e-9)


def test_band_may_be_open_above() -> None:
    assert float(minutes_in_band([0, 10], [40.0, 50.0], 45.0, math.inf)) == pytest.approx(5.0)


@given(st.lists(st.floats(30, 60), min_size=2, max_size=8), st.floats(38, 44), st.floats(0.5, 5))
def test_bands_side_by_side_fill_the_visit(history: list[float], low: float, width: float) -> None:
    minutes = 2.0 * np.arange(len(history))
    bands = [(-math.inf, low), (low, low + width), (low + width, math.inf)]
    parts = [float(minutes_in_band(minutes, history, a, b)) for a, b in bands]
    assert all(part >= 0.0 for part in parts)
    # A segment that stays exactly on a shared edge counts in both bands.
    assert sum(parts) >= minutes[-1] - 1e-6
    if not any(abs(t - edge) < 1e-3 for t in history for edge in (low, low + width)):
        assert sum(parts) == pytest.approx(minutes[-1], abs=1e-6)


def test_a_band_upside_down_is_refused() -> None:
    with pytest.raises(ValueError, match=r"the band is 45 to 42 °C; allowed: a low end below the high end"):
        minutes_in_band([0, 1], [40.0, 41.0], 45.0, 42.0)


def test_crossing_is_linear_between_samples() -> None:
    minutes, series = np.array([0.0, 1.0, 2.0, 3.0]), np.array([36.0, 39.0, 41.0, 40.5])
    assert crossing(minutes, series, 40.0) == pytest.approx(1.5)
    assert crossing(minutes, series, 36.0) == 0.0
    assert crossing(minutes, series, 41.0) == 2.0
    assert crossing(minutes, series, 41.5) is None
