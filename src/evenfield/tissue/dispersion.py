"""Dielectric dispersion: how the admittivity of tissue follows from its parameters and the frequency.

Conventions: time factor exp(+jωt); complex relative permittivity eps* = eps' − j eps''; admittivity
y = jω eps0 eps* = sigma + jω eps0 eps_r, in S/m.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenfield.tissue.value import Label, Value

FREQUENCY_HZ = 27.12e6
"""The industrial, scientific and medical frequency at which the panels are driven, in Hz."""

Complex = NDArray[np.complex128]


class Dispersion(Protocol):
    """What the field needs of a tissue: its complex permittivity and admittivity at a frequency."""

    def relative_permittivity(self, frequency_hz: ArrayLike) -> Complex: ...
    def admittivity(self, frequency_hz: ArrayLike) -> Complex: ...


@dataclass(frozen=True)
class ColeCole:
    """Four-term Cole-Cole dispersion with a static conductivity.

    eps*(ω) = eps_inf + Σ_n delta_n / (1 + (jω tau_n)^(1 − alpha_n)) + sigma_s / (jω eps0)

    S. Gabriel, R. W. Lau and C. Gabriel, Phys. Med. Biol. 41:2271-2293 (1996), equation 1 and Table 1.
    Fitted from 10 Hz to 100 GHz; the authors' own data scatter by about 25 % below 100 MHz (M).

    Attributes: `eps_inf` (-), `delta` (four increments, -), `tau_s` (four times, s), `alpha` (four
    exponents in [0, 1)), `sigma_s` (S/m); `source` and `label` hold for all of them.
    """

    eps_inf: float
    delta: tuple[float, float, float, float]
    tau_s: tuple[float, float, float, float]
    alpha: tuple[float, float, float, float]
    sigma_s: float
    source: str
    label: Label

    def relative_permittivity(self, frequency_hz: ArrayLike) -> Complex:
        """Complex relative permittivity eps' − j eps'' (-) at `frequency_hz` (Hz, any shape, > 0).

        Raises ValueError if a frequency is not above zero.
        """
        from scipy.constants import epsilon_0  # read in here: a clinic's server starts without it

        j_omega = _j_omega(frequency_hz)
        eps: Complex = self.eps_inf + self.sigma_s / (j_omega * epsilon_0)
        for delta, tau, alpha in zip(self.delta, self.tau_s, self.alpha, strict=True):
            eps += delta / (1.0 + (j_omega * tau) ** (1.0 - alpha))
        return eps

    def admittivity(self, frequency_hz: ArrayLike) -> Complex:
        """Admittivity sigma + jω eps0 eps_r in S/m at `frequency_hz` (Hz, any shape, > 0)."""
        from scipy.constants import epsilon_0

        return _j_omega(frequency_hz) * epsilon_0 * self.relative_permittivity(frequency_hz)

    @property
    def values(self) -> dict[str, Value]:
        """Every parameter by name, with unit, source and label."""
        numbers = {"eps_inf": (self.eps_inf, "1"), "sigma_s": (self.sigma_s, "S/m")}
        for n in range(4):
            numbers[f"delta_{n + 1}"] = (self.delta[n], "1")
            numbers[f"tau_{n + 1}"] = (self.tau_s[n], "s")
            numbers[f"alpha_{n + 1}"] = (self.alpha[n], "1")
        return {key: Value(value, unit, self.source, self.label) for key, (value, unit) in numbers.items()}


@dataclass(frozen=True)
class MixedDispersion:
    """Isotropic random mixture of tissues by volume, by the symmetric effective-medium rule.

    `fractions` add up to one; `parts` are the dispersions of the pure tissues. See `effective_medium`.
    """

    fractions: tuple[float, ...]
    parts: tuple[Dispersion, ...]

    def relative_permittivity(self, frequency_hz: ArrayLike) -> Complex:
        """Complex relative permittivity eps' − j eps'' (-) at `frequency_hz` (Hz, any shape, > 0)."""
        return effective_medium(
            self.fractions, [part.relative_permittivity(frequency_hz) for part in self.parts]
        )

    def admittivity(self, frequency_hz: ArrayLike) -> Complex:
        """Admittivity sigma + jω eps0 eps_r in S/m at `frequency_hz` (Hz, any shape, > 0)."""
        return effective_medium(self.fractions, [part.admittivity(frequency_hz) for part in self.parts])


def effective_medium(fractions: Sequence[float], parts: Sequence[ArrayLike]) -> Complex:
    """Conductivity-like property y of a random isotropic mixture of parts y_i at volume fractions f_i.

    Solves Σ f_i (y_i − y) / (y_i + 2 y) = 0 (D. A. G. Bruggeman, Ann. Phys. 416:636, 1935; symmetric
    form for spheres in three dimensions) by the fixed point y = Σ f_i y_i/(y_i + 2y) / Σ f_i/(y_i + 2y),
    started from the volume mean. It serves admittivity, permittivity and thermal conductivity alike. The
    rule lies within the Hashin-Shtrikman bounds for two parts; real tissue is layered, not random, and
    may lie anywhere between the series and the parallel mean.

    `fractions` are (n,), > 0 and add up to one; `parts` are n arrays of one shape; the result has that
    shape, complex.
    """
    values = [np.asarray(part, dtype=np.complex128) for part in parts]
    mixed = sum((f * y for f, y in zip(fractions, values, strict=True)), start=np.zeros_like(values[0]))
    for _ in range(500):
        weights = [f / (y + 2.0 * mixed) for f, y in zip(fractions, values, strict=True)]
        following = sum(w * y for w, y in zip(weights, values, strict=True)) / sum(weights)
        converged = bool(np.all(np.abs(following - mixed) <= 1e-14 * np.abs(following)))
        mixed = np.asarray(following, dtype=np.complex128)
        if converged:
            return mixed
    raise ArithmeticError("the effective-medium rule did not converge for these fractions and parts")


def _j_omega(frequency_hz: ArrayLike) -> Complex:
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if not np.all(frequency > 0.0):
        raise ValueError(f"frequency must be above 0 Hz, got {np.min(frequency):g} Hz")
    return np.asarray(2j * np.pi * frequency, dtype=np.complex128)
