"""Heat exchange at the skin: convection by air speed, radiation, evaporation, drape, and the skin under
panels.

Coefficients: radiation 4.5 W/m²K, natural convection 3 W/m²K (de Dear et al., *Int. J. Biometeorol.* 40:141,
1997); forced convection B·vⁿ per body segment (Ichihara et al. 1997), measured for v ≥ 0.2 m/s and used below
too wherever it gives more than natural convection (see `convection`); evaporation w (p_sk −
p_a) h_e with h_e = 16.5 K/kPa · h_c (Lewis relation). Saturation pressure after Tetens (label M).

Under a panel the skin sees the panel and not the room: it radiates to a panel at air temperature with the
same coefficient, and convection is replaced by conduction through the still air of the gap, k_air/gap, never
more than in the open (assumption, label A: the Rayleigh number of a 10 mm gap at 10 K is near 1000, below the
onset of convection at 1708; a fan blowing into the gap would cool more).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.body import RegionKind
from evenfield.heat.room import Room

Floats = NDArray[np.float64]

RADIATION = 4.5
NATURAL = 3.0
AIR_CONDUCTIVITY = 0.026
LEWIS = 16.5
CLO = 0.155
"""m²K/W of clothing insulation per clo (ISO 9920)."""
FORCED: Mapping[RegionKind, tuple[float, float]] = {
    RegionKind.ABDOMEN: (13.0, 0.60),
    RegionKind.FLANK: (13.0, 0.60),
    RegionKind.THIGH: (14.0, 0.61),
    RegionKind.ABOVE_KNEE: (14.0, 0.61),
    RegionKind.UPPER_ARM: (17.0, 0.61),
    RegionKind.CALF: (15.8, 0.74),
}
"""B, n of h_c = B vⁿ W/m²K (Ichihara 1997): pelvis for the trunk, thigh, arm, leg."""


def saturation_kpa(temperature_c: Floats | float) -> Floats:
    """Saturation pressure of water vapour, kPa (Tetens 1930, label M; within 1 % of tables from 0 to 60
    °C)."""
    t = np.asarray(temperature_c, dtype=float)
    return np.asarray(0.6108 * np.exp(17.27 * t / (t + 237.3)))


def convection(kind: RegionKind, air_speed_m_s: float) -> float:
    """h_c of skin in the open, W/m²K: the larger of natural and forced.

    The forced law holds for 0.2 m/s and more. Below, it goes on until it meets natural convection (label A),
    so that nothing jumps at 0.2 m/s: at the default 0.1 m/s it gives 3.3 (trunk), 3.4 (thigh), 2.9 and so 3
    (calf) and 4.2 (arm) where the source says 3 of air without wind. What 3 would change instead is measured
    in `tests/heat/test_skin.py` and told in docs/heat.md.
    """
    b, n = FORCED[kind]
    return max(NATURAL, b * air_speed_m_s**n if air_speed_m_s > 0 else 0.0)


@dataclass(frozen=True)
class SkinExchange:
    """Exchange of each skin patch, all of shape (nk, nj): dry coefficient and evaporation coefficient (W/m²K
    and W/m²kPa, both already through the drape), air temperature and vapour pressure."""

    dry: Floats
    evaporation: Floats
    air_c: float
    vapour_kpa: float

    def flux(self, skin_c: Floats) -> Floats:
        """Heat lost by the skin, W/m²."""
        wet = self.evaporation * (saturation_kpa(skin_c) - self.vapour_kpa)
        return np.asarray(self.dry * (skin_c - self.air_c) + np.maximum(wet, 0.0))

    def slope(self, skin_c: float = 35.0) -> Floats:
        """d flux / d skin temperature, W/m²K, for the implicit part of a time step."""
        rise = float(saturation_kpa(skin_c + 0.5) - saturation_kpa(skin_c - 0.5))
        return self.dry + self.evaporation * rise


def skin_exchange(
    kind: RegionKind, room: Room, clearance_m: Floats, under_panel: NDArray[np.bool_]
) -> SkinExchange:
    """Exchange of the skin patches; `clearance_m` (nk, nj) counts only where `under_panel`."""
    open_air = convection(kind, room.air_speed_m_s)
    still = np.minimum(open_air, AIR_CONDUCTIVITY / np.maximum(clearance_m, 1e-4))
    h_c = np.where(under_panel, still, open_air)
    drape = np.where(under_panel, 0.0, CLO * room.drape_clo)
    dry = 1.0 / (drape + 1.0 / (h_c + RADIATION))
    wet = room.wettedness / (drape + 1.0 / h_c) * LEWIS
    return SkinExchange(
        dry=dry,
        evaporation=wet,
        air_c=room.air_c,
        vapour_kpa=room.relative_humidity * float(saturation_kpa(room.air_c)),
    )
