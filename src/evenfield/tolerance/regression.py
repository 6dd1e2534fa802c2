"""Smooth functions of many unknowns from few computed points: quadratic kernel regression.

f(x) = f(0) + k(x)ᵀ (K + λ I)⁻¹ (F − f(0)) with k(x, x') = (1 + Σ w_i² x_i x'_i)² − 1: the quadratic through
the nominal point that is nearest to the computed points under a penalty on its coefficients, however few the
points (kernel ridge regression; T. Hastie, R. Tibshirani, J. Friedman, *The Elements of Statistical
Learning*, 2nd ed. 2009, section 5.8). The nominal point, x = 0, is met exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PENALTIES = tuple(10.0**n for n in range(-8, 1))
"""Candidates for λ relative to the mean of K's diagonal; the one with the least leave-one-out error is
taken."""


def _kernel(a: Floats, b: Floats) -> Floats:
    return np.asarray((1.0 + a @ b.T) ** 2 - 1.0)


@dataclass(frozen=True)
class QuadraticFit:
    """`points` (n, d) weighted; `weight` (d,); `answers` (n, n_out); `nominal` (n_out,); `left_out` (n_out,):
    root-mean-square leave-one-out error of each output."""

    points: Floats
    weight: Floats
    answers: Floats
    nominal: Floats
    left_out: Floats

    def at(self, x: Floats) -> Floats:
        """Outputs (m, n_out) at rows (m, d)."""
        if not len(self.points):
            return np.tile(self.nominal, (len(x), 1))
        return np.asarray(self.nominal + _kernel(x * self.weight, self.points) @ self.answers)


def _left_out(K: Floats, F: Floats, penalty: float) -> tuple[Floats, Floats]:
    """Answers and leave-one-out residuals (both (n, n_out)) at a penalty."""
    inverse = np.linalg.inv(K + penalty * np.eye(len(K)))
    answers = inverse @ F
    return answers, answers / np.diag(inverse)[:, None]


def quadratic_fit(x: Floats, outputs: Floats, nominal: Floats, guide: Floats | None = None) -> QuadraticFit:
    """Fit outputs (n, n_out) at rows (n, d) and `nominal` (n_out,) at 0.

    `guide` (n, n_guide): quantities by which the inputs are weighed and the penalty is chosen (the outputs
    themselves if None, each by its own spread), less their values at 0.
    """
    n, d = x.shape
    if n == 0 or d == 0:
        return QuadraticFit(np.zeros((0, d)), np.ones(d), np.zeros((0, nominal.size)), nominal, 0 * nominal)
    F = outputs - nominal
    led = F / np.maximum(F.std(axis=0), 1e-300) if guide is None else guide
    weight = _weights(x, led)
    K = _kernel(x * weight, x * weight)
    scale = float(np.mean(np.diag(K)))
    best = min(PENALTIES, key=lambda p: float(np.sum(_left_out(K, led, p * scale)[1] ** 2)))
    answers, residual = _left_out(K, F, best * scale)
    return QuadraticFit(x * weight, weight, answers, nominal, np.sqrt(np.mean(residual**2, axis=0)))


def _weights(x: Floats, led: Floats) -> Floats:
    """How much each input counts: by the size of its slope in a first, linear fit, never nothing."""
    # orthogonal directions of what is led by, so that thousands of outputs cost no more than the rows
    u, s, _ = np.linalg.svd(led - led.mean(axis=0), full_matrices=False)
    amounts = u * s
    centred = x - x.mean(axis=0)
    gram = centred.T @ centred
    slope = np.linalg.solve(gram + 1e-2 * np.trace(gram) / len(gram) * np.eye(len(gram)), centred.T @ amounts)
    size = np.sqrt(np.sum(slope**2, axis=1))
    return np.asarray(0.5 * np.maximum(size / max(float(size.max()), 1e-300), 0.1) ** 0.5)
