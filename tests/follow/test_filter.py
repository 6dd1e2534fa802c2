"""The ensemble update against the exact Kalman filter of filterpy, on linear Gaussian cases."""

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter  # type: ignore[import-untyped]
from numpy.typing import NDArray

from evenfield.follow.filter import update, widened
from evenfield.follow.members import drawn

Floats = NDArray[np.float64]

# Skin and fat above the baseline and an unknown heating per minute of fat: three numbers, one of them a
# parameter. Fat leaks to skin, both to the surroundings. Invented, linear.
STEP = np.array([[0.7, 0.25, 0.0], [0.1, 0.85, 1.0], [0.0, 0.0, 1.0]])
PRIOR_MEAN, PRIOR_COVARIANCE = np.array([0.0, 0.0, 0.8]), np.diag([0.3, 0.2, 0.09])
SEEN = np.array([[1.0, 0.0, 0.0], [0.9, 0.1, 0.0]])
ERROR = np.array([0.09, 0.25])


def _exact(noise: Floats, seen: Floats) -> KalmanFilter:
    exact = KalmanFilter(dim_x=3, dim_z=2)
    exact.x, exact.P = PRIOR_MEAN.copy(), PRIOR_COVARIANCE.copy()
    exact.F, exact.H, exact.R, exact.Q = STEP, SEEN, np.diag(ERROR), noise
    for z in seen:
        exact.predict()
        exact.update(z)
    return exact


def _ensemble(members: int, noise: Floats, seen: Floats) -> Floats:
    rng = np.random.default_rng(8)
    x = PRIOR_MEAN + drawn(members, 3, rng) @ np.linalg.cholesky(PRIOR_COVARIANCE).T
    for z in seen:
        x = x @ STEP.T
        if noise.any():
            x = x + rng.multivariate_normal(np.zeros(3), noise, members)
        for row, value, variance in zip(SEEN, z, ERROR, strict=True):
            x = update(x @ row, float(value), float(variance)).on(x)
    return x


SERIES = np.array([[0.2, 0.1], [1.1, 0.7], [1.4, 1.9], [2.4, 2.0], [2.6, 3.0], [3.4, 3.1]])


def test_without_noise_it_is_the_exact_filter() -> None:
    """Sample mean and covariance start exact and every step is linear, so nothing is left to sampling."""
    exact = _exact(np.zeros((3, 3)), SERIES)
    x = _ensemble(40, np.zeros((3, 3)), SERIES)
    assert x.mean(axis=0) == pytest.approx(exact.x, abs=1e-9)
    assert np.cov(x.T) == pytest.approx(exact.P, abs=1e-9)


def test_with_noise_it_agrees_within_sampling_error() -> None:
    members = 40_000
    noise = np.diag([0.02, 0.02, 0.002])
    exact = _exact(noise, SERIES)
    x = _ensemble(members, noise, SERIES)
    spread = np.sqrt(np.diag(exact.P))
    assert np.abs(x.mean(axis=0) - exact.x) == pytest.approx(0.0, abs=5 * spread.max() / np.sqrt(members))
    assert np.std(x, axis=0, ddof=1) / spread == pytest.approx(1.0, abs=5 / np.sqrt(2 * members))


def test_an_unheard_of_observation_is_trusted_less() -> None:
    """Its influence stops growing where the innovation is `most` expected spreads."""
    predicted = 37.0 + 0.5 * drawn(60, 1, np.random.default_rng(1))[:, 0]
    shift = {
        off: float((update(predicted, 37.0 + off, 0.25, most=3.0).weight).mean())
        for off in (1.0, 2.0, 4.0, 8.0)
    }
    plain = update(predicted, 38.0, 0.25)
    assert shift[1.0] == pytest.approx(float(plain.weight.mean()))
    assert shift[2.0] == pytest.approx(2 * shift[1.0])
    assert shift[8.0] < shift[4.0] < shift[2.0] * 2
    assert update(predicted, 45.0, 0.25, most=3.0).surprise == pytest.approx(8.0 / np.sqrt(0.5))
    assert update(predicted, 45.0, 0.25, most=3.0).trusted == pytest.approx(64.0 / 9.0 - 0.25)


def test_taper_keeps_an_observation_from_what_is_not_near() -> None:
    x = drawn(50, 4, np.random.default_rng(2))
    after = update(x[:, 0], 1.0, 1.0).on(x, np.array([1.0, 0.0, 0.5, 1.0]))
    assert after[:, 0].mean() == pytest.approx(0.5)
    assert after[:, 0].var(ddof=1) == pytest.approx(0.5)
    assert np.array_equal(after[:, 1], x[:, 1])


def test_widened_keeps_the_mean() -> None:
    x = 3.0 + drawn(30, 2, np.random.default_rng(3))
    wide = widened(x, np.array([2.0, 1.0]))
    assert wide.mean(axis=0) == pytest.approx([3.0, 3.0])
    assert wide.std(axis=0, ddof=1) == pytest.approx([2.0, 1.0])


def test_draws_are_normal_numbers_without_correlation() -> None:
    """Second-order exact, and each column still looks standard normal (its kurtosis 3, of all together)."""
    x = drawn(200, 50, np.random.default_rng(4))
    assert x.mean(axis=0) == pytest.approx(np.zeros(50), abs=1e-12)
    assert np.cov(x.T) == pytest.approx(np.eye(50), abs=1e-10)
    assert float((x**4).mean()) == pytest.approx(3.0, abs=0.15)
    with pytest.raises(ValueError, match="more than 51"):
        drawn(51, 50, np.random.default_rng(4))
