"""What a forecast holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenfield.case import Case
from evenfield.dose import Evenness
from evenfield.field import Field
from evenfield.forecast.tuning import ExpectedTuning, expected_tuning
from evenfield.forecast.zones import Zone
from evenfield.heat.bioheat import Bioheat
from evenfield.heat.history import History

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ZoneResult:
    """One zone through the session. `mean_series_c`, `peak_series_c` (nt,): zone mean and hottest point per
    output time. `mean_c` at the end of power; `peak_c` at any time; `minutes_in_band` of the mean; `cem43`,
    `burn` and `burn_cautious` of the worst point. The skin part's mean is that of the surface, as a
    thermometer sees it."""

    zone: Zone
    mean_series_c: Floats
    peak_series_c: Floats
    mean_c: float
    peak_c: float
    minutes_in_band: float
    cem43: float
    burn: float
    burn_cautious: float


@dataclass(frozen=True)
class Hottest:
    """A hot spot: temperature (°C) at the picture's time, tissue, and its place in words."""

    temperature_c: float
    tissue: str
    place: str
    position_m: tuple[float, float, float]


@dataclass(frozen=True)
class AssumptionBand:
    """What the assumed range of the absorbed fraction does. `fraction`: low, mid, high. Per output time, for
    low, mid, high: `peak_c[tissue]` (3, nt) and `zone_mean_c` (3, n_zones, nt). Low and high are computed on
    the nested coarse grid and added as differences to the fine result."""

    fraction: tuple[float, float, float]
    peak_c: dict[str, Floats]
    zone_mean_c: Floats


@dataclass(frozen=True)
class Forecast:
    """Everything computed for one case. `output_s` (nt,) every minute; `peak_series_c[tissue]` (nt,);
    `error_estimate`: estimated relative error of fat SAR (volume L2); `picture`: index of the pictures'
    time."""

    case: Case
    field: Field
    coarse: Field
    error_estimate: float
    heat: Bioheat
    history: History
    zones: tuple[ZoneResult, ...]
    peak_c: dict[str, float]
    peak_series_c: dict[str, Floats]
    evenness: Evenness
    hottest: tuple[Hottest, ...]
    band: AssumptionBand | None
    picture: int
    seconds: dict[str, float]
    sources: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def minutes(self) -> Floats:
        """Output times in minutes."""
        return self.history.minutes

    @property
    def tuning(self) -> ExpectedTuning:
        """The tuning to expect on the display, by the generic profile."""
        return expected_tuning(self.field.admittance_s)
