"""An ensemble's members: from standard normal numbers to heat parameters, and from coordinates to zones.

Each member holds coordinates of the reduced heat model and a row of standard normal numbers ξ, one for every
uncertain quantity of `follow.prior`. A zone's temperature is the heat model's, T, and what the model misses:
    T_skin = T + ξ_s (o + s·rise),        T_fat = T + (ξ_s/2 + √3/2 ξ_f)(o + s·rise)
with o, s the prior's offset and share; the hottest point adds ξ·h·rise of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenfield.follow.model import STEPS, FollowModel
from evenfield.heat.reduced import HeatParameters, ReducedState

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

WHOLE = (
    "fraction",
    "flow_fat",
    "flow_muscle",
    "flow_skin",
    "flow_law",
    "exchange",
    "arterial",
    "other_fat",
    "thermometer",
)
"""The quantities that belong to the whole visit, in the order of ξ; then three per panel, four per zone."""
SHARED = 0.5
"""Correlation of what the model misses in a zone's skin and in its fat (assumption, label A)."""
FURTHEST = 3.0
"""Placement errors beyond this many steps of the sources heat as at it."""


@dataclass(frozen=True)
class Columns:
    """Where each quantity stands among the columns of ξ."""

    panels: int
    zones: int

    @property
    def count(self) -> int:
        """All columns."""
        return len(WHOLE) + 3 * self.panels + 4 * self.zones

    @property
    def common(self) -> slice:
        """All that is not a zone's own."""
        return slice(0, len(WHOLE) + 3 * self.panels)

    def whole(self, name: str) -> int:
        """A quantity of the whole visit."""
        return WHOLE.index(name)

    def panel(self, panel: int) -> slice:
        """Gap, tilt across, tilt along of a panel."""
        first = len(WHOLE) + 3 * panel
        return slice(first, first + 3)

    def zone(self, zone: int) -> NDArray[np.int64]:
        """Skin, fat, skin's hottest, fat's hottest of a zone."""
        return np.asarray(self.common.stop + zone + self.zones * np.arange(4))

    def misses(self, xi: Floats) -> Floats:
        """ξ of skin, fat, skin's hottest, fat's hottest, (4, members, zones)."""
        return np.moveaxis(xi[:, self.common.stop :].reshape(len(xi), 4, self.zones), 1, 0)


def columns(model: FollowModel) -> Columns:
    """The columns of ξ for a model."""
    return Columns(len(model.panels), len(model.zones))


def drawn(members: int, count: int, rng: np.random.Generator) -> Floats:
    """Standard normal numbers (members, count) with mean 0, spread 1 and no correlation in the sample.

    Second-order exact sampling (Pham, *Mon. Weather Rev.* 129:1194, 2001): what a small sample gets wrong
    about its own prior is taken out. Raises ValueError where there are not more members than columns.
    """
    if members <= count + 1:
        raise ValueError(
            f"{members} members for {count} uncertain quantities; allowed: more than {count + 1}"
        )
    x = rng.standard_normal((members, count))
    x -= x.mean(axis=0)
    q, r = np.linalg.qr(x)
    return np.asarray(q * np.sign(np.diag(r)) * np.sqrt(members - 1.0))


def heat_parameters(
    model: FollowModel, xi: Floats, shift: Floats, warmer_k: Floats | float = 0.0
) -> HeatParameters:
    """The members' heat parameters. `shift` (panels, 3): known moves since the plan: gap m, tilts rad;
    `warmer_k` (members,): how much the fat has warmed, which a member's own law of blood flow answers."""
    prior, at = model.prior, columns(model)
    law = prior.flow_law.value * xi[:, at.whole("flow_law")] * np.maximum(warmer_k, 0.0)

    def factor(name: str, spread: float, more: Floats | float = 0.0) -> Floats:
        return np.exp(np.clip(spread * xi[:, at.whole(name)] + more, -2.0, 2.0))

    flow: dict[str, ArrayLike] = {
        layer: factor(f"flow_{layer}", getattr(prior, f"flow_{layer}").value, 0.0 if layer == "skin" else law)
        for layer in ("fat", "muscle", "skin")
        if layer in model.heat.layers
    }
    return model.heat.parameters(
        len(xi),
        flow=flow,
        exchange=factor("exchange", prior.exchange.value),
        arterial_c=model.heat.arterial_c + prior.arterial_k.value * xi[:, at.whole("arterial")],
        source=source_mix(model, xi, shift),
    )


def source_mix(model: FollowModel, xi: Floats, shift: Floats) -> Floats:
    """Shares of the sources (members, sources): straight between those computed, either way from the plan."""
    prior, at = model.prior, columns(model)
    mix = np.zeros((len(xi), len(model.heat.sources)))
    spread = np.array([prior.gap_m.value, prior.tilt_rad.value, prior.tilt_rad.value])
    for n, panel in enumerate(model.panels):
        error = shift[n] + spread * xi[:, at.panel(n)]
        more = np.array(list(STEPS.values()))
        less = np.array([panel.less_m, *more[1:]])
        first = 1 + 6 * n
        mix[:, first : first + 6 : 2] = np.clip(error / more, 0.0, FURTHEST)
        mix[:, first + 1 : first + 6 : 2] = np.clip(-error / less, 0.0, FURTHEST)
    other = prior.other_fat_mid.value + prior.other_fat_sd.value * xi[:, at.whole("other_fat")]
    mix[:, -1] = np.clip(other, 0.0, 1.0)
    mix[:, 0] = 1.0 - mix[:, 1:].sum(axis=1)
    return mix


def absorbed_share(model: FollowModel, xi: Floats, tuning_percent: float | None) -> Floats:
    """Share of the set power that each member's tissue takes up, (members,)."""
    spread = model.prior.fraction_sd(model.fraction)
    share = model.fraction.mid * np.exp(spread * xi[:, columns(model).whole("fraction")])
    tuned = 1.0 if tuning_percent is None else tuning_percent / model.prior.usual_tuning.value
    return np.minimum(share * tuned, 1.0)


def thermometer_k(model: FollowModel, xi: Floats) -> Floats:
    """Offset of the thermometer, K, (members,)."""
    return model.prior.thermometer_k.value * xi[:, columns(model).whole("thermometer")]


def raw_zones(model: FollowModel, state: ReducedState) -> Singles:
    """The heat model's skin mean, skin hottest, fat mean, fat hottest, °C, (members, 4, zones)."""
    mean = model.heat.zone_means(state)
    top = model.heat.hottest(state)
    return np.stack([mean[:, 0::2], top[:, 0::2], mean[:, 1::2], top[:, 1::2]], axis=1).astype(np.float32)


def zone_temperatures(model: FollowModel, raw: NDArray[np.floating], xi: Floats) -> Floats:
    """Temperatures with what the model misses, °C, shaped as `raw` (..., members, 4, zones)."""
    prior = model.prior
    skin, fat, skin_top, fat_top = columns(model).misses(xi)
    fat = SHARED * skin + np.sqrt(1.0 - SHARED**2) * fat
    start = model.heat.zone_start_c
    own = np.stack([start[0::2], start[0::2], start[1::2], start[1::2]])
    rise = np.maximum(raw - own, 0.0)
    scale = prior.zone_offset_k.value + prior.zone_share.value * rise[..., [0, 0, 2, 2], :]
    out = raw + np.stack([skin, skin, fat, fat], axis=1) * scale
    out[..., 1, :] += prior.hottest_share.value * skin_top * rise[..., 1, :]
    out[..., 3, :] += prior.hottest_share.value * fat_top * rise[..., 3, :]
    out[..., 1, :] = np.maximum(out[..., 1, :], out[..., 0, :])
    out[..., 3, :] = np.maximum(out[..., 3, :], out[..., 2, :])
    return np.asarray(out, dtype=np.float64)
