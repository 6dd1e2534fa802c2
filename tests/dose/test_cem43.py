"""CEM43 against its published definition in closed form, and its properties."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from evenfield.dose import cem43


@pytest.mark.parametrize(
    ("temperature_c", "minutes", "expected"),
    [
        # Sapareto and Dewey, IJROBP 10:787 (1984): R^(43 − T)·t at constant temperature (C).
        (42.0, 60.0, 15.0),
        (44.0, 30.0, 60.0),
        (45.0, 10.0, 40.0),
        (43.0, 7.0, 7.0),
        (39.0, 60.0, 60.0 / 256.0),
        (38.999, 60.0, 0.0),
    ],
)
def test_constant_temperature(temperature_c: float, minutes: float, expected: float) -> None:
    assert float(cem43([0.0, minutes], [temperature_c] * 2)) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("samples", [2, 3, 41, 400])
def test_ramp_does_not_depend_on_sampling(samples: int) -> None:
    """37 to 45 °C in 40 min: 25.233074 with the 39 °C cut-off, 25.246283 without (closed form, C)."""
    minutes = np.linspace(0.0, 40.0, samples)
    ramp = 37.0 + minutes / 5.0
    assert float(cem43(minutes, ramp)) == pytest.approx(25.233074, abs=1e-6)
    assert float(cem43(minutes, ramp, cut_off_c=None)) == pytest.approx(25.246283, abs=1e-6)
    assert float(cem43(minutes, ramp[::-1])) == pytest.approx(25.233074, abs=1e-6)


def test_low_temperatures_count_without_a_cut_off() -> None:
    assert float(cem43([0.0, 60.0], [37.0, 37.0], None)) == pytest.approx(60.0 * 0.25**6)
    assert float(cem43([0.0, 60.0], [37.0, 37.0], 37.0)) == pytest.approx(60.0 * 0.25**6)


def test_many_points_at_once_keep_their_places() -> None:
    """(nt, 3, 5000) float32, more than one block, against quadrature of the definition by scipy."""
    rng = np.random.default_rng(7)
    minutes = np.array([0.0, 1.0, 2.5, 7.0, 7.5, 20.0])
    temperature = rng.uniform(36.0, 47.0, (6, 3, 5000)).astype(np.float32)
    dose = cem43(minutes, temperature)
    assert dose.shape == (3, 5000)
    assert dose.dtype == np.float64

    def rate(time: float, history: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
        t = float(np.interp(time, minutes, history))
        return 0.0 if t < 39.0 else (0.5 if t >= 43.0 else 0.25) ** (43.0 - t)

    for place in [(0, 0), (1, 2345), (2, 4999)]:
        history = temperature[(slice(None), *place)].astype(np.float64)
        crossings = [
            m0 + (m1 - m0) * (limit - a) / (b - a)
            for m0, m1, a, b in zip(minutes, minutes[1:], history, history[1:], strict=False)
            for limit in (39.0, 43.0)
            if min(a, b) < limit < max(a, b)
        ]
        edges = sorted([*minutes, *crossings])
        expected = sum(quad(rate, a, b, args=(history,), epsabs=1e-12)[0] for a, b in pairwise(edges))
        assert dose[place] == pytest.approx(expected, rel=1e-8)


histories = st.lists(st.floats(30.0, 60.0), min_size=2, max_size=8)


@given(histories, st.floats(0.0, 5.0), st.sampled_from([39.0, 41.0, None]))
def test_warmer_is_never_less(history: list[float], warmer: float, cut_off_c: float | None) -> None:
    minutes = np.arange(len(history), dtype=float)
    base = np.array(history)
    less, more = cem43(minutes, np.stack([base, base + warmer], axis=1), cut_off_c)
    assert 0.0 <= less <= more * (1 + 1e-8) + 1e-8


@given(histories, st.data())
def test_dose_adds_up_in_time(history: list[float], data: st.DataObject) -> None:
    """Cutting the history anywhere, also between samples, leaves the sum."""
    minutes = np.arange(len(history), dtype=float)
    at = data.draw(st.floats(0.01, len(history) - 1.01))
    if float(at).is_integer():
        at += 0.005
    middle = np.interp(at, minutes, history)
    first, second = minutes < at, minutes > at
    before = cem43([*minutes[first], at], [*np.array(history)[first], middle])
    after = cem43([at, *minutes[second]], [middle, *np.array(history)[second]])
    assert float(before + after) == pytest.approx(float(cem43(minutes, history)), rel=1e-6, abs=1e-6)


@given(st.floats(38.0, 46.0), st.floats(-13.0, -1.0))
def test_nearly_constant_is_nearly_constant(temperature_c: float, exponent: float) -> None:
    """No loss of digits as the ends of a segment draw together."""
    change = 10.0**exponent
    constant = float(cem43([0.0, 60.0], [temperature_c] * 2, None))
    moved = float(cem43([0.0, 60.0], [temperature_c, temperature_c + change], None))
    assert moved == pytest.approx(constant, rel=0.7 * math.log(4.0) * change + 2e-8)
    assert moved >= constant * (1 - 2e-8)


def test_one_sample_is_no_dose() -> None:
    assert np.all(cem43([3.0], np.full((1, 4), 50.0)) == 0.0)


@pytest.mark.parametrize(
    ("minutes", "temperature_c", "cut_off_c", "message"),
    [
        ([0.0, 1.0], [[40.0], [41.0], [42.0]], 39.0, r"minutes has shape \(2,\) and temperature_c \(3, 1\)"),
        ([], [], 39.0, r"nt of at least 1"),
        ([0.0, 1.0, 1.0], [40.0] * 3, 39.0, "rise strictly"),
        ([0.0, math.inf], [40.0] * 2, 39.0, "minutes must be finite"),
        ([0.0, 1.0], [40.0, math.nan], 39.0, "temperature_c must be finite"),
        ([0.0, 1.0], [math.inf, 40.0], 39.0, "temperature_c must be finite"),
        ([0.0, 1.0], [40.0] * 2, 44.0, r"cut_off_c is 44 °C; allowed: at most 43 °C"),
        ([0.0, 1.0], [40.0] * 2, math.nan, r"cut_off_c is nan"),
    ],
)
def test_bad_input_is_refused(
    minutes: list[float], temperature_c: list[float], cut_off_c: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        cem43(minutes, temperature_c, cut_off_c)
