"""What a device is, electrically: a profile read from TOML, every number with its source and label."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic import Field as Limits

from evenfield.field.matching import Circuit, Range, TwoWireLine
from evenfield.tissue.reading import why_unreadable
from evenfield.tissue.value import Label

SHIPPED = ("generic",)
"""Names of the profiles that come with the package."""


class DeviceError(ValueError):
    """A device profile that cannot be read; one clear sentence."""


class Cables(StrEnum):
    """How the two cables lie to each other."""

    SPREAD = "spread"
    CLOSE = "close"
    TOUCHING = "touching"


@dataclass(frozen=True)
class Quantity:
    """One value and how far it may lie from it, in SI units (`unit`), with source and label."""

    value: float
    low: float
    high: float
    unit: str
    source: str
    label: Label

    @property
    def spread(self) -> bool:
        """Whether it is uncertain at all."""
        return self.low < self.high

    def __str__(self) -> str:
        span = f" ({self.low:g} to {self.high:g})" if self.spread else ""
        return f"{self.value:g}{span} {self.unit} [{self.label}] {self.source}".replace("  ", " ")


@dataclass(frozen=True)
class Variable:
    """A variable capacitor: the least and the most it can be set to, F."""

    least: float
    most: float
    unit: str
    source: str
    label: Label

    def __str__(self) -> str:
        return f"{self.least:g} to {self.most:g} {self.unit} [{self.label}] {self.source}"


@dataclass(frozen=True)
class DeviceProfile:
    """A device's circuit, cables and display; SI units. `generic`: stands for no particular device, and
    every output built on it says so."""

    name: str
    title: str
    generic: bool
    source_ohm: Quantity
    shunt_f: Variable
    series_f: Variable
    coil_h: Quantity
    coil_q: Quantity
    length_m: Quantity
    wire_m: Quantity
    insulation_m: Quantity
    permittivity: Quantity
    loss_tangent: Quantity
    conductivity_s_m: Quantity
    spacing_m: Mapping[Cables, Quantity]
    elsewhere: Quantity
    reading_sd_percent: Quantity
    model_sd_percent: Quantity
    power_step_w: Quantity

    def circuit(
        self,
        cables: Cables = Cables.SPREAD,
        *,
        coil_q: float | None = None,
        length_m: float | None = None,
        loss_tangent: float | None = None,
        spacing_m: float | None = None,
    ) -> Circuit:
        """The circuit with its middle values, or with those given of the four that are uncertain."""

        def of(quantity: Quantity, given: float | None) -> float:
            return quantity.value if given is None else given

        return Circuit(
            source_ohm=self.source_ohm.value,
            shunt_f=Range(self.shunt_f.least, self.shunt_f.most),
            series_f=Range(self.series_f.least, self.series_f.most),
            coil_h=self.coil_h.value,
            coil_q=of(self.coil_q, coil_q),
            cables=TwoWireLine(
                length_m=of(self.length_m, length_m),
                wire_m=self.wire_m.value,
                insulation_m=self.insulation_m.value,
                permittivity=self.permittivity.value,
                loss_tangent=of(self.loss_tangent, loss_tangent),
                conductivity_s_m=self.conductivity_s_m.value,
                spacing_m=of(self.spacing_m[cables], spacing_m),
            ),
        )

    def numbers(self) -> Mapping[str, Quantity | Variable]:
        """Every number of the profile by name, for showing it with its source and label."""
        plain = {k: v for k, v in vars(self).items() if isinstance(v, Quantity | Variable)}
        return plain | {f"spacing_m.{lay}": q for lay, q in self.spacing_m.items()}

    def assumptions(self) -> tuple[str, ...]:
        """One line for each assumed number, after one that says the device is generic if it is."""
        first = (f"{self.title}: what it says about another device is a rough guide",) if self.generic else ()
        return (*first, *(f"{k}: {q}" for k, q in self.numbers().items() if q.label is Label.A))


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


_Positive = Annotated[float, Limits(gt=0, allow_inf_nan=False)]
_NotNegative = Annotated[float, Limits(ge=0, allow_inf_nan=False)]


class _Entry(_Table):
    value: _NotNegative
    low: _NotNegative | None = None
    high: _NotNegative | None = None
    source: str
    label: Annotated[Label, Limits(strict=False)]


class _Span(_Table):
    least: _Positive
    most: _Positive
    source: str
    label: Annotated[Label, Limits(strict=False)]


class _Tuner(_Table):
    source_ohm: _Entry
    shunt_pf: _Span
    series_pf: _Span
    coil_uh: _Entry
    coil_q: _Entry


class _Spacing(_Table):
    spread: _Entry
    close: _Entry
    touching: _Entry


class _CableTable(_Table):
    length_mm: _Entry
    wire_mm: _Entry
    insulation_mm: _Entry
    permittivity: _Entry
    loss_tangent: _Entry
    conductivity_s_m: _Entry
    spacing_mm: _Spacing


class _Losses(_Table):
    elsewhere: _Entry


class _Display(_Table):
    reading_sd_percent: _Entry
    model_sd_percent: _Entry
    power_step_w: _Entry


class _DeviceFile(_Table):
    title: str
    generic: bool
    sources: dict[str, str]
    tuner: _Tuner
    cables: _CableTable
    losses: _Losses
    display: _Display


_SI = {"pf": ("f", 1e-12, "F"), "uh": ("h", 1e-6, "H"), "mm": ("m", 1e-3, "m")}
_UNITS = {"ohm": "Ω", "s_m": "S/m", "percent": "%", "w": "W"}
_MAY_BE_ZERO = {"loss_tangent", "elsewhere", "power_step_w"}
_MAY_SPREAD = {"coil_q", "length_m", "loss_tangent", "spacing_m", "elsewhere"}


def load_device_profile(name: str | Path = "generic") -> DeviceProfile:
    """Read the profile called `name` (one of `SHIPPED`) or the TOML file at that path.

    Raises DeviceError, one clear sentence, if the file is missing, is not TOML, has an unknown key or source,
    or a value out of its limits.
    """
    where = _where(name)
    try:
        text = shipped_text(str(name)) if name in SHIPPED else Path(name).read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        if Path(name).exists():
            raise DeviceError(f"{where} {why_unreadable(error)}") from None
        raise DeviceError(
            f"{where} is neither a readable file nor one of those shipped; "
            f"allowed: {', '.join(SHIPPED)} or the path of a TOML file"
        ) from None
    return _read(text, str(name) if name in SHIPPED else Path(name).stem, where)


def read_device_profile(text: str, name: str) -> DeviceProfile:
    """Read a profile from the text of its TOML file; `name` is what it is called in messages.

    Raises DeviceError as `load_device_profile` does.
    """
    return _read(text, name, _where(name))


def shipped_text(name: str = "generic") -> str:
    """The TOML text of one of the profiles `SHIPPED`."""
    return files("evenfield.field").joinpath("data", f"{name}_device.toml").read_text("utf-8")


def _where(name: str | Path) -> str:
    return f'device profile "{name}"'


def _read(text: str, name: str, where: str) -> DeviceProfile:
    try:
        raw = _DeviceFile.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise DeviceError(f"{where} is not valid TOML: {error}") from None
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(map(str, first["loc"]))
        raise DeviceError(f"{where}: {key}: {first['msg'][0].lower()}{first['msg'][1:]}") from None
    return _build(name, where, raw)


def _build(name: str, where: str, raw: _DeviceFile) -> DeviceProfile:
    made: dict[str, Any] = {}
    for section in (raw.tuner, raw.cables, raw.losses, raw.display):
        for key, entry in section:
            if not isinstance(entry, _Spacing):
                made.update([_si(where, raw, key, entry)])
    made["spacing_m"] = {
        Cables(lay): _si(where, raw, "spacing_mm", entry)[1] for lay, entry in raw.cables.spacing_mm
    }
    profile = DeviceProfile(name=name, title=raw.title, generic=raw.generic, **made)
    _check_cables(where, profile)
    return profile


def _si(where: str, raw: _DeviceFile, key: str, entry: _Entry | _Span) -> tuple[str, Quantity | Variable]:
    """The name and value in SI of one entry of the file."""
    source = raw.sources.get(entry.source)
    if source is None:
        raise DeviceError(
            f'{where}: {key}: source "{entry.source}" is not listed; allowed: {", ".join(raw.sources)}'
        )
    stem, _, ending = key.rpartition("_")
    suffix, factor, unit = _SI.get(ending, (ending, 1.0, ""))
    si_key = f"{stem}_{suffix}" if ending in _SI else key
    unit = unit or next((u for end, u in _UNITS.items() if key.endswith(f"_{end}")), "")
    if isinstance(entry, _Span):
        if entry.least > entry.most:
            raise DeviceError(f"{where}: {key}: least {entry.least:g} is above most {entry.most:g}")
        return si_key, Variable(entry.least * factor, entry.most * factor, unit, source, entry.label)
    low = entry.value if entry.low is None else entry.low
    high = entry.value if entry.high is None else entry.high
    if not low <= entry.value <= high:
        raise DeviceError(f"{where}: {key}: {entry.value:g} is not between low {low:g} and high {high:g}")
    if low == 0.0 and si_key not in _MAY_BE_ZERO:
        raise DeviceError(f"{where}: {key}: 0 is not allowed; allowed: above 0")
    if low < high and si_key not in _MAY_SPREAD:
        raise DeviceError(
            f"{where}: {key}: low and high are not used here; allowed for {', '.join(sorted(_MAY_SPREAD))}"
        )
    return si_key, Quantity(entry.value * factor, low * factor, high * factor, unit, source, entry.label)


def _check_cables(where: str, profile: DeviceProfile) -> None:
    """Wires within their insulation, cables not within each other, a share below 1, and so on."""
    wire, coat = profile.wire_m.value, profile.insulation_m.value
    least = min(q.low for q in profile.spacing_m.values())
    if not wire < coat <= least + 1e-12:
        raise DeviceError(
            f"{where}: cables: wire {1e3 * wire:g} mm, insulation {1e3 * coat:g} mm, least spacing "
            f"{1e3 * least:g} mm; allowed: wire thinner than insulation, spacing not below insulation"
        )
    if profile.permittivity.value < 1.0:
        raise DeviceError(f"{where}: permittivity {profile.permittivity.value:g}; allowed: 1 or more")
    if profile.elsewhere.high >= 1.0:
        raise DeviceError(f"{where}: elsewhere {profile.elsewhere.high:g}; allowed: 0 to below 1")
