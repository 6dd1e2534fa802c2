"""Blood flow through tissue and how it answers to the tissue's own temperature.

Flow is a mass of blood per second and volume of tissue, kg/(s m³). In the bioheat equation it appears as
W = flow × c_b in W/(m³ K) (Pennes, J. Appl. Physiol. 1:93, 1948), so the density of blood does not enter.

What the laws leave out: they follow the local temperature at once, while vessels need minutes to open; they
know nothing of the whole body getting warm; and they never fall again when hot tissue is injured and its
vessels close. They are meant for 10 to 60 °C and stay finite and not negative outside.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar, TypeVar

import numpy as np
from numpy.typing import NDArray

from evenfield.tissue.value import Value

FloatT = TypeVar("FloatT", np.float32, np.float64)

ML_MIN_PER_M3_S = 1e6 * 60.0
"""Millilitres per minute in one cubic metre per second."""


@dataclass(frozen=True)
class Blood:
    """Blood as the carrier of heat: density (kg/m³) and heat capacity (J/(kg K)), with their values."""

    density: Value
    heat_capacity: Value

    @property
    def density_kg_m3(self) -> float:
        return self.density.value

    @property
    def heat_capacity_j_kgk(self) -> float:
        return self.heat_capacity.value


class Flow(ABC):
    """Blood flow of one tissue as a law in its temperature. Laws are data: see the kinds below."""

    kind: ClassVar[str]

    def at(self, temperature_c: NDArray[FloatT]) -> NDArray[FloatT]:
        """Flow in kg/(s m³) at `temperature_c` (°C, any shape).

        The result has the same shape, and the same type if that is a floating one (float64 otherwise).
        """
        temperature = np.asarray(temperature_c)
        return self._law(temperature if temperature.dtype.kind == "f" else temperature.astype(np.float64))

    @abstractmethod
    def _law(self, temperature_c: NDArray[FloatT]) -> NDArray[FloatT]: ...

    @property
    @abstractmethod
    def bounds_kg_s_m3(self) -> tuple[float, float]:
        """Least and greatest flow the law can give, kg/(s m³)."""

    @property
    @abstractmethod
    def values(self) -> dict[str, Value]:
        """Every parameter of the law by name, with unit, source and label."""

    def w_per_m3k(self, temperature_c: NDArray[FloatT], blood: Blood) -> NDArray[FloatT]:
        """Heat carried off per volume and kelvin above arterial blood, W/(m³ K): flow × c_b."""
        carried: NDArray[FloatT] = self.at(temperature_c) * blood.heat_capacity_j_kgk
        return carried


@dataclass(frozen=True)
class ConstantFlow(Flow):
    """Flow at rest, whatever the temperature."""

    kind: ClassVar[str] = "constant"
    basal: Value

    def _law(self, temperature_c: NDArray[FloatT]) -> NDArray[FloatT]:
        return np.full_like(temperature_c, self.basal.value)

    @property
    def bounds_kg_s_m3(self) -> tuple[float, float]:
        return self.basal.value, self.basal.value

    @property
    def values(self) -> dict[str, Value]:
        return {"basal": self.basal}


@dataclass(frozen=True)
class RisingFlow(Flow):
    """Flow that rises along a bell curve from a floor to a plateau.

    w(T) = floor + rise · exp(−(T − peak)² / spread) below `peak`, floor + rise above. The form of Lang,
    Erdmann and Seebass, IEEE Trans. Biomed. Eng. 46:1129 (1999), for muscle and fat (°C, K², kg/(s m³)).
    """

    kind: ClassVar[str] = "rising"
    floor: Value
    rise: Value
    peak: Value
    spread: Value

    def _law(self, temperature_c: NDArray[FloatT]) -> NDArray[FloatT]:
        below = np.minimum(temperature_c - self.peak.value, 0.0)
        bell = np.exp(below * below / -self.spread.value)
        flow: NDArray[FloatT] = self.floor.value + self.rise.value * bell
        return flow

    @property
    def bounds_kg_s_m3(self) -> tuple[float, float]:
        return self.floor.value, self.floor.value + self.rise.value

    @property
    def values(self) -> dict[str, Value]:
        return {"floor": self.floor, "rise": self.rise, "peak": self.peak, "spread": self.spread}


@dataclass(frozen=True)
class DoublingFlow(Flow):
    """Flow that doubles for every so many kelvin of local warming, up to a greatest factor.

    w(T) = basal · min(2^((T − set) / step), greatest). The local factor on skin blood flow of Stolwijk's
    model (NASA CR-1855, 1971), with step 6 K; the bound is ours.
    """

    kind: ClassVar[str] = "doubling"
    basal: Value
    set_point: Value
    step: Value
    greatest: Value

    def _law(self, temperature_c: NDArray[FloatT]) -> NDArray[FloatT]:
        exponent = np.minimum(
            (temperature_c - self.set_point.value) / self.step.value, float(np.log2(self.greatest.value))
        )
        flow: NDArray[FloatT] = self.basal.value * np.exp2(exponent)
        return flow

    @property
    def bounds_kg_s_m3(self) -> tuple[float, float]:
        return 0.0, self.basal.value * self.greatest.value

    @property
    def values(self) -> dict[str, Value]:
        return {
            "basal": self.basal,
            "set_point": self.set_point,
            "step": self.step,
            "greatest": self.greatest,
        }
