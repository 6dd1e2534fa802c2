"""Burn integral of skin: an estimate, and a cautious bound.

Ω = ∫ A exp(−E/(R T)) dt, T in kelvin (F. C. Henriques and A. R. Moritz, Am. J. Pathol. 23:531 and 695, 1947).
Ω = 1 stands for a burn through the outer skin (epidermis). Fitted to skin kept at 44 °C and above for seconds
to hours; used below 44 °C it extrapolates. It is not a law for fat or muscle, where it serves as a sign only.

The original coefficients of 1947 are three to four times too slow at 44 to 49 °C and are not offered. No pair
of coefficients for fat with a traceable origin was found, so none is offered either.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy.constants import R as GAS_CONSTANT
from scipy.constants import zero_Celsius

from evenfield.dose.history import Array, integrate
from evenfield.tissue import Label, Value


@dataclass(frozen=True)
class Arrhenius:
    """Rate A·exp(−θ/T): `frequency` A in 1/s, `temperature` θ = E/R in K."""

    frequency: Value
    temperature: Value

    def rate(self, kelvin: Array) -> Array:
        """Rate in 1/s at `kelvin` (K, any shape)."""
        rate: Array = np.exp(np.log(self.frequency.value) - self.temperature.value / kelvin)
        return rate

    def antiderivative(self, kelvin: Array, rate: Array) -> Array:
        """∫ A exp(−θ/T) dT in K/s, vanishing at T = 0, given the rate at `kelvin`.

        θ A Γ(−1, x), x = θ/T, by its asymptotic series rate·T²/θ·(1 − 2/x + 6/x² − 24/x³ + 120/x⁴ − 720/x⁵)
        (NIST Digital Library of Mathematical Functions, 8.11.2). Relative error below 5040/x⁶: 1e-7 for the
        flattest pair here at 100 °C, less below.
        """
        inverse = kelvin / self.temperature.value
        series = 1.0 + inverse * (
            -2.0 + inverse * (6.0 + inverse * (-24.0 + inverse * (120.0 - 720.0 * inverse)))
        )
        area: Array = rate * kelvin * inverse * series
        return area


@dataclass(frozen=True)
class BurnLaw:
    """A burn law in two ranges: `cool` up to `change` (°C) inclusive, `hot` above."""

    name: str
    cool: Arrhenius
    hot: Arrhenius
    change: Value

    @property
    def source(self) -> str:
        return self.cool.frequency.source

    @cached_property
    def _step(self) -> float:
        """What to add to the hot antiderivative so that the whole is continuous at the change."""
        at = np.array([self.change.value + zero_Celsius])
        cool = self.cool.antiderivative(at, self.cool.rate(at))
        hot = self.hot.antiderivative(at, self.hot.rate(at))
        return float((cool - hot)[0])

    def rate_and_antiderivative(self, temperature_c: Array) -> tuple[Array, Array]:
        """Rate in 1/min and its antiderivative in K/min at `temperature_c` (°C)."""
        kelvin = temperature_c + zero_Celsius
        rate = self.cool.rate(kelvin)
        anti = self.cool.antiderivative(kelvin, rate)
        hot = temperature_c > self.change.value
        if np.any(hot):
            rate[hot] = self.hot.rate(kelvin[hot])
            anti[hot] = self.hot.antiderivative(kelvin[hot], rate[hot]) + self._step
        return 60.0 * rate, 60.0 * anti


def _arrhenius(frequency: float, temperature_k: float, source: str, label: Label) -> Arrhenius:
    return Arrhenius(Value(frequency, "1/s", source, label), Value(temperature_k, "K", source, label))


_DILLER_SOURCE = (
    "K. R. Diller, G. A. Klutke, Adv. Bioheat Mass Transfer, ASME HTD-268:117 (1993): re-fit to the burns of "
    "A. R. Moritz, F. C. Henriques, Am. J. Pathol. 23:695 (1947)"
)
_WEAVER_STOLL_SOURCE = "J. A. Weaver, A. M. Stoll, Aerospace Med. 40:24 (1969)"

DILLER = BurnLaw(
    name="Diller re-fit",
    cool=_arrhenius(8.82e94, 6.03e5 / GAS_CONSTANT, _DILLER_SOURCE, Label.M),
    hot=_arrhenius(1.297e31, 2.04e5 / GAS_CONSTANT, _DILLER_SOURCE, Label.M),
    change=Value(53.0, "°C", _DILLER_SOURCE, Label.M),
)
"""The estimate."""

WEAVER_STOLL = BurnLaw(
    name="Weaver and Stoll",
    cool=_arrhenius(2.185e124, 93534.9, _WEAVER_STOLL_SOURCE, Label.P),
    hot=_arrhenius(1.823e51, 39109.8, _WEAVER_STOLL_SOURCE, Label.P),
    change=Value(50.0, "°C", _WEAVER_STOLL_SOURCE, Label.P),
)
"""The cautious bound: faster than the estimate at every temperature above 37.3 °C."""


@dataclass(frozen=True)
class BurnEstimate:
    """Burn integral Ω by both laws, each float64 of the shape of the points."""

    estimate: Array
    cautious: Array


def burn_integral(minutes: ArrayLike, temperature_c: ArrayLike, law: BurnLaw = DILLER) -> Array:
    """Burn integral Ω (-) of a temperature history by one law, exact to 1e-7 for T linear between samples.

    Arguments: `minutes` (nt,) strictly rising; `temperature_c` (nt, ...) in °C, up to 100. Returns float64 of
    shape (...). Raises ValueError (one clear sentence) for bad shapes, times or temperatures.
    """
    return integrate(minutes, temperature_c, law)


def burn_estimate(minutes: ArrayLike, temperature_c: ArrayLike) -> BurnEstimate:
    """Burn integral by the estimate and by the cautious bound. Arguments as for `burn_integral`."""
    return BurnEstimate(
        estimate=burn_integral(minutes, temperature_c, DILLER),
        cautious=burn_integral(minutes, temperature_c, WEAVER_STOLL),
    )
