"""The model of a plan that `follow` runs on, and its file."""

from __future__ import annotations

import io
import json
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenfield.case import AbsorbedFraction
from evenfield.follow.prior import Prior
from evenfield.heat.reduced import PointTerms, ReducedHeat
from evenfield.tissue import Label, Value

Floats = NDArray[np.float64]

STEPS = {"gap_m": 0.003, "tilt_across_rad": 0.05, "tilt_along_rad": 0.05}
"""The error of placement at which each further source is computed, either way."""
FORMAT = 2


@dataclass(frozen=True)
class FollowPanel:
    """A panel as the plan has it: name, width across and length along, m.

    `less_m`: how much smaller the gap is in the source with the smaller one.
    """

    name: str
    width_m: float
    length_m: float
    less_m: float


@dataclass(frozen=True)
class FollowZone:
    """One patch under a panel; `label` names it in readings and results, e.g. "inner: upper front"."""

    label: str
    panel: str
    name: str


@dataclass(frozen=True)
class FollowModel:
    """All that `follow` needs, arrays and plain values only.

    `zones` (n): `heat` gives the skin of zone z as output 2 z and its fat as 2 z + 1. `heat.sources`: the
    plan; then for each panel gap +, gap −, tilt across +, −, tilt along +, − by `STEPS`; then the other fat.
    Between spots of a zone the skin differs by a standard deviation of `spot_k` (n,) before heating, and of
    `spot_share` (n,) times the zone's mean rise in its rise (`follow.spots`).
    `area` (n,): shares of the footprint. The node fields of `heat` are left out.
    """

    title: str
    heat: ReducedHeat
    zones: tuple[FollowZone, ...]
    panels: tuple[FollowPanel, ...]
    spot_k: Floats
    spot_share: Floats
    area: Floats
    fraction: AbsorbedFraction
    band_c: tuple[float, float]
    prior: Prior

    def zone_number(self, label: str) -> int | None:
        """Which zone has this label; None if none has."""
        return next((n for n, zone in enumerate(self.zones) if zone.label == label), None)

    def panel_number(self, name: str) -> int | None:
        """Which panel has this name; None if none has."""
        return next((n for n, panel in enumerate(self.panels) if panel.name == name), None)


_ARRAYS = tuple(name for name in ReducedHeat.__dataclass_fields__ if name not in ("layers", "points"))


def to_npz(model: FollowModel) -> bytes:
    """The model as the content of an .npz file; the same model always gives the same bytes."""
    arrays: dict[str, Any] = {f"heat.{name}": np.asarray(getattr(model.heat, name)) for name in _ARRAYS}
    arrays |= {f"points.{name}": value for name, value in vars(model.heat.points).items()}
    words = {
        "format": FORMAT,
        "title": model.title,
        "layers": model.heat.layers,
        "zones": [asdict(zone) for zone in model.zones],
        "panels": [asdict(panel) for panel in model.panels],
        "fraction": asdict(model.fraction),
        "band_c": model.band_c,
        "prior": {name: asdict(value) for name, value in vars(model.prior).items()},
    }
    arrays["words"] = np.frombuffer(json.dumps(words, ensure_ascii=False).encode(), dtype=np.uint8)
    arrays |= {name: getattr(model, name) for name in ("spot_k", "spot_share", "area")}
    out = io.BytesIO()
    np.savez(out, **arrays)
    return out.getvalue()


def from_npz(content: bytes) -> FollowModel:
    """The model from the content of an .npz file. Raises ValueError for another format."""
    with np.load(io.BytesIO(content), allow_pickle=False) as file:
        arrays = {name: file[name] for name in file.files}
    words = json.loads(arrays["words"].tobytes())
    if words["format"] != FORMAT:
        raise ValueError(f"the follow model has format {words['format']}; this program reads format {FORMAT}")
    heat = {name: arrays[f"heat.{name}"] for name in _ARRAYS}
    heat["arterial_c"] = float(heat["arterial_c"])
    points = {name: arrays[f"points.{name}"] for name in PointTerms.__dataclass_fields__}
    prior = {
        name: Value(v["value"], v["unit"], v["source"], Label(v["label"]))
        for name, v in words["prior"].items()
    }
    return FollowModel(
        title=words["title"],
        heat=ReducedHeat(layers=tuple(words["layers"]), points=PointTerms(**points), **heat),
        zones=tuple(FollowZone(**zone) for zone in words["zones"]),
        panels=tuple(FollowPanel(**panel) for panel in words["panels"]),
        spot_k=arrays["spot_k"],
        spot_share=arrays["spot_share"],
        area=arrays["area"],
        fraction=AbsorbedFraction(**words["fraction"]),
        band_c=tuple(words["band_c"]),
        prior=Prior(**prior),
    )
