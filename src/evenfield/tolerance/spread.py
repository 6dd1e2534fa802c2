"""What is not known, as one joint distribution: every unknown with its width, source and label.

Unknowns are independent. A member of an ensemble is a row of scores, one per unknown: 0 is nominal, and for
all but the kind of fat the score is standard normal, held at `CUT_OFF` beyond it. The kind of fat has 0 for
the case's own kind and 1 for the other. Widths are data: `data/spread.toml`, the tissue set and the case.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from importlib import resources
from math import log, radians
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from evenfield.applicator.words import panel_words
from evenfield.case import Case, PowerKind
from evenfield.tissue import Label, load_tissue_set

Floats = NDArray[np.float64]

CUT_OFF = 2.5
"""Scores lie between minus and plus this."""
_AT_95, _AT_90 = 1.959963985, 1.644853627


class Law(StrEnum):
    """How a score becomes a value."""

    EITHER = "either"
    FACTOR = "factor"
    ADDED = "added"
    SHARE = "share"


@dataclass(frozen=True)
class Unknown:
    """One thing that is not known.

    `key` as in "flow.fat" or "gap.inner"; `words` for sentences; `law` and `width` (its two sides, the same
    but for a share): chance of the other kind; standard deviation of the factor's logarithm; standard
    deviation in `unit`; distance of the 5 and 95 % points from `centre` in standard deviations.
    """

    key: str
    words: str
    law: Law
    centre: float
    width: tuple[float, float]
    unit: str
    source: str
    label: Label

    @property
    def of_field(self) -> bool:
        """True where it changes the field or the body, false where heat or power alone."""
        return self.key.split(".")[0] not in ("flow", "exchange", "core", "absorbed_fraction")

    def scores(self, share: Floats) -> Floats:
        """Scores at these cumulative probabilities, 0 to 1."""
        if self.law is Law.EITHER:
            return (share > 1.0 - self.width[0]).astype(np.float64)
        return np.clip(ndtri(share), -CUT_OFF, CUT_OFF)

    def value(self, score: Floats) -> Floats:
        """The value at a score: 0 or 1 for a kind; a factor; an amount in `unit`; a share."""
        if self.law is Law.EITHER:
            return np.asarray(score)
        if self.law is Law.FACTOR:
            return np.exp(self.width[0] * np.asarray(score))
        value = self.centre + np.where(score < 0, self.width[0], self.width[1]) * score
        return np.clip(value, 0.01, 1.0) if self.law is Law.SHARE else np.asarray(value)

    def __str__(self) -> str:
        if self.law is Law.EITHER:
            width = f"the other kind with a chance of {100 * self.width[0]:.0f} %"
        elif self.law is Law.FACTOR:
            f = float(np.exp(_AT_95 * self.width[0]))
            width = f"95 % within {1 / f:.2f} to {f:.2f} times"
        elif self.law is Law.SHARE:
            low, high = (self.centre + s * _AT_90 * w for s, w in zip((-1, 1), self.width, strict=True))
            width = f"5, 50, 95 %: {low:.2f}, {self.centre:.2f}, {high:.2f}"
        else:
            scale, unit = _SHOWN.get(self.unit, (1.0, self.unit))
            width = f"standard deviation {scale * self.width[0]:.2g} {unit}"
        return f"{self.words}: {width} [{self.label}] {self.source}"


_SHOWN = {"m": (1e3, "mm"), "rad": (180 / np.pi, "°")}


@dataclass(frozen=True)
class Spread:
    """All unknowns of a case, in a fixed order."""

    unknowns: tuple[Unknown, ...]

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(u.key for u in self.unknowns)

    @property
    def of_field(self) -> NDArray[np.bool_]:
        """Which of them change field or body, (n_unknowns,)."""
        return np.array([u.of_field for u in self.unknowns], dtype=bool)

    def column(self, key: str) -> int:
        """Where an unknown stands in a row of scores; ValueError if it is not among them."""
        return self.keys.index(key)

    def scores(self, members: int, seed: np.random.SeedSequence | int) -> Floats:
        """A scrambled Sobol design of so many rows, shape (members, n_unknowns). The same seed gives the same
        rows."""
        rng = np.random.default_rng(seed)
        if not self.unknowns:
            return np.zeros((members, 0))
        whole = 1 << max(0, (members - 1).bit_length())
        from scipy.stats import qmc  # takes as long to load as all the rest

        shares = qmc.Sobol(len(self.unknowns), rng=rng).random(whole)[:members]
        return self.scores_at(shares)

    def scores_at(self, shares: Floats) -> Floats:
        """Scores at rows of cumulative probabilities, both (n, n_unknowns)."""
        return np.stack([u.scores(shares[:, n]) for n, u in enumerate(self.unknowns)], axis=1)

    def values(self, scores: Floats) -> dict[str, Floats]:
        """Value of every unknown by key, each (n,), for rows of scores (n, n_unknowns)."""
        return {u.key: u.value(scores[:, n]) for n, u in enumerate(self.unknowns)}

    def without(self, *groups: str) -> Spread:
        """The same spread with some unknowns taken as known: keys, or what stands before the point in
        them."""
        return Spread(
            tuple(u for u in self.unknowns if u.key not in groups and u.key.split(".")[0] not in groups)
        )


def spread_of(case: Case, changed: Mapping[str, Mapping[str, Any]] | None = None) -> Spread:
    """The joint spread of a case by the shipped data. `changed`: entries of the data file to replace, by
    table ("gap", "flow.fat")."""
    text = resources.files("evenfield.tolerance").joinpath("data/spread.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    for table, entries in (changed or {}).items():
        place = data
        for part in table.split("."):
            place = place[part]
        place.update(entries)
    return Spread(tuple(_unknowns(case, data)))


def _unknowns(case: Case, data: dict[str, Any]) -> Iterator[Unknown]:
    kind = data["fat_kind"]
    yield _made("fat_kind", kind, Law.EITHER, float(kind["share_of_other"]), "kind")
    dielectric = load_tissue_set(case.tissue_set).dielectric_spread
    width = log(1.0 + dielectric.value) / _AT_95
    source = {"source": f"{data['dielectric']['source']}; {dielectric.source}", **_label(data["dielectric"])}
    for layer in reversed(case.region.layers):
        for part in ("conductivity", "permittivity"):
            words = {"words": f"{part} of {layer}", **source}
            yield _made(f"dielectric.{layer}.{part}", words, Law.FACTOR, width, "factor")
    for tissue, flow in data["flow"].items():
        yield _made(f"flow.{tissue}", flow, Law.FACTOR, log(flow["factor_95"]) / _AT_95, "factor")
    air = data["exchange"]
    yield _made("exchange", air, Law.FACTOR, log(air["factor_95"]) / _AT_95, "factor")
    yield _made("core", data["core"], Law.ADDED, data["core"]["sd_k"], "K")
    fat, girth = data["fat_thickness"], data["girth"]
    yield _made("fat_thickness", fat, Law.ADDED, 1e-3 * fat["sd_mm"], "m")
    yield _made("girth", girth, Law.FACTOR, 1e-2 * girth["sd_percent"], "factor")
    gap, tilt = data["gap"], data["tilt"]
    for panel in case.panels:
        name = panel_words(panel.name)
        words = {**gap, "words": f"{gap['words']}, {name}"}
        yield _made(f"gap.{panel.name}", words, Law.ADDED, 1e-3 * gap["sd_mm"], "m")
        for way in ("across", "along"):
            words = {**tilt, "words": f"tilt {way} {tilt['words']}, {name}"}
            yield _made(f"tilt_{way}.{panel.name}", words, Law.ADDED, radians(tilt["sd_deg"]), "rad")
    if case.session.power_kind is PowerKind.SET:
        f = case.session.absorbed_fraction
        made = _made("absorbed_fraction", data["absorbed_fraction"], Law.SHARE, 0.0, "share")
        yield replace(made, centre=f.mid, width=((f.mid - f.low) / _AT_90, (f.high - f.mid) / _AT_90))


def _label(entry: Mapping[str, Any]) -> dict[str, Any]:
    return {"label": entry["label"]}


def _made(key: str, entry: Mapping[str, Any], law: Law, width: float, unit: str) -> Unknown:
    centre = 1.0 if law is Law.FACTOR else 0.0
    return Unknown(
        key,
        str(entry["words"]),
        law,
        centre,
        (width, width),
        unit,
        str(entry["source"]),
        Label(entry["label"]),
    )
