"""Burn integral against the burns of Moritz and Henriques, quadrature, and its properties."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from evenfield.dose import DILLER, WEAVER_STOLL, BurnLaw, burn_estimate, burn_integral
from evenfield.tissue import Label

LAWS = [pytest.param(law, id=law.name) for law in (DILLER, WEAVER_STOLL)]


def minutes_to_one(temperature_c: float, law: BurnLaw) -> float:
    return 1.0 / float(burn_integral([0.0, 1.0], [temperature_c] * 2, law))


@pytest.mark.parametrize(
    ("temperature_c", "computed_min", "within_min", "observed_min"),
    [
        # Time to Ω = 1 of the re-fit (C) and burns of skin held at that temperature by A. R. Moritz and
        # F. C. Henriques, Am. J. Pathol. 23:695 (1947) (observed).
        (44.0, 6.46 * 60, 0.005 * 60, 6 * 60),
        (45.0, 3.15 * 60, 0.005 * 60, 3 * 60),
        (47.0, 45.5, 0.05, 45),
    ],
)
def test_estimate_meets_the_observed_burns(
    temperature_c: float, computed_min: float, within_min: float, observed_min: float
) -> None:
    got = minutes_to_one(temperature_c, DILLER)
    assert got == pytest.approx(computed_min, abs=within_min)
    # Tolerance against the observation: 8 %, the spacing of the 1947 exposures being coarser.
    assert got == pytest.approx(observed_min, rel=0.08)


def test_cautious_bound_is_earlier_than_the_estimate_and_the_observed_burns() -> None:
    temperatures = np.arange(37.5, 70.0, 0.05)
    held = np.stack([temperatures, temperatures])
    both = burn_estimate([0.0, 1.0], held)
    assert np.all(both.cautious > both.estimate)
    for temperature_c, observed_min in [(44.0, 360.0), (45.0, 180.0), (47.0, 45.0)]:
        assert minutes_to_one(temperature_c, WEAVER_STOLL) < observed_min


def test_laws_cross_where_the_docstring_says() -> None:
    """The cautious bound is the faster one above 37.3 °C."""

    def difference(temperature_c: float) -> float:
        return math.log(minutes_to_one(temperature_c, DILLER) / minutes_to_one(temperature_c, WEAVER_STOLL))

    assert brentq(difference, 30.0, 44.0) == pytest.approx(37.3, abs=0.1)


def test_coefficients_carry_source_and_label() -> None:
    assert (DILLER.cool.frequency.value, DILLER.hot.frequency.value) == (8.82e94, 1.297e31)
    assert DILLER.cool.temperature.value * 8.314462618 == pytest.approx(6.03e5)
    assert DILLER.hot.temperature.value * 8.314462618 == pytest.approx(2.04e5)
    assert DILLER.cool.frequency.label == Label.M
    assert WEAVER_STOLL.cool.frequency.label == Label.P
    assert "Weaver" in WEAVER_STOLL.source
    assert (DILLER.change.value, WEAVER_STOLL.change.value) == (53.0, 50.0)


def direct(minutes: float, start_c: float, end_c: float, law: BurnLaw) -> float:
    """∫ A exp(−θ/T) dt on a ramp by scipy's quadrature, split where the law changes."""

    def per_kelvin(temperature_c: float) -> float:
        part = law.cool if temperature_c <= law.change.value else law.hot
        return part.frequency.value * math.exp(-part.temperature.value / (temperature_c + 273.15))

    low, high = sorted((start_c, end_c))
    edges = [low, *([law.change.value] if low < law.change.value < high else []), high]
    area = sum(quad(per_kelvin, a, b, epsabs=0, epsrel=1e-12)[0] for a, b in pairwise(edges))
    return 60.0 * minutes * area / (high - low)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize(
    ("start_c", "end_c"),
    [(33.0, 46.0), (46.0, 33.0), (44.0, 44.01), (45.0, 60.0), (49.9, 53.1), (55.0, 90.0)],
)
def test_ramps_against_quadrature(law: BurnLaw, start_c: float, end_c: float) -> None:
    got = float(burn_integral([0.0, 12.0], [start_c, end_c], law))
    assert got == pytest.approx(direct(12.0, start_c, end_c, law), rel=2e-7)


histories = st.lists(st.floats(30.0, 65.0), min_size=2, max_size=8)


@pytest.mark.parametrize("law", LAWS)
@given(history=histories, warmer=st.floats(0.0, 5.0))
def test_warmer_is_never_less(law: BurnLaw, history: list[float], warmer: float) -> None:
    minutes = np.arange(len(history), dtype=float)
    base = np.array(history)
    less, more = burn_integral(minutes, np.stack([base, base + warmer], axis=1), law)
    assert 0.0 < less <= more * (1 + 1e-6)


@given(histories, st.integers(1, 6))
def test_burn_adds_up_in_time(history: list[float], at: int) -> None:
    minutes = np.arange(len(history), dtype=float)
    at = min(at, len(history) - 1)
    parts = burn_integral(minutes[: at + 1], history[: at + 1]) + burn_integral(minutes[at:], history[at:])
    assert float(parts) == pytest.approx(float(burn_integral(minutes, history)), rel=1e-9)


def test_shape_is_kept() -> None:
    both = burn_estimate([0.0, 5.0, 9.0], np.full((3, 2, 4), 44.0, dtype=np.float32))
    assert both.estimate.shape == both.cautious.shape == (2, 4)
    assert both.estimate[1, 3] == pytest.approx(9.0 / minutes_to_one(44.0, DILLER))
