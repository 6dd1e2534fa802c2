"""A case: one person's region, the panels over it, the room and the session, checked and in SI units."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property

from evenfield.applicator import Panel, PlacedPanel, place
from evenfield.body import InputError, Measurements, Region
from evenfield.heat.power import PowerCurve
from evenfield.heat.room import Room
from evenfield.tissue import FatKind, Label


class CaseError(InputError):
    """A case file that cannot be used.

    `str()` is one sentence: where (the file), the key, the value and what is allowed. `sentence` is the same
    without the file. `key`, `value` and `allowed` stand apart for forms.
    """

    def __init__(
        self, sentence: str, *, key: str, value: object = None, allowed: str = "", where: str = ""
    ) -> None:
        super().__init__(f"{where}: {sentence}" if where else sentence, key=key, value=value, allowed=allowed)
        self.sentence = sentence
        self.where = where


def seconds(minutes: float) -> float:
    """Minutes of a case file in seconds, to the microsecond: whole seconds stay whole."""
    return round(60 * minutes, 6)


class PowerKind(StrEnum):
    """Which power a curve gives: what the device shows, or what the tissue takes up."""

    SET = "set"
    ABSORBED = "absorbed"


@dataclass(frozen=True)
class AbsorbedFraction:
    """Share of the set power that the tissue takes up: a range, until the device has been calibrated."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True)
class Session:
    """What happens in time.

    power              power curve, in watts of `power_kind`; its end is the end of power
    absorbed_fraction  used only where set power is given
    after_s            time to follow after the power ends
    band_c             temperature range wanted in fat, set by the clinic, °C
    picture_s          when the pictures are taken
    baseline_c         temperature of blood and core before the session, °C
    """

    power: PowerCurve
    power_kind: PowerKind
    absorbed_fraction: AbsorbedFraction
    after_s: float
    band_c: tuple[float, float]
    picture_s: float
    baseline_c: float

    @property
    def end_s(self) -> float:
        """When the forecast ends: end of power and the time to follow after it."""
        return self.power.end_s + self.after_s

    def absorbed(self) -> tuple[PowerCurve, PowerCurve, PowerCurve]:
        """Absorbed power at the low, mid and high fraction; all the same if absorbed power was given."""
        if self.power_kind is PowerKind.ABSORBED:
            return self.power, self.power, self.power
        f = self.absorbed_fraction
        return self.power.scaled(f.low), self.power.scaled(f.mid), self.power.scaled(f.high)


@dataclass(frozen=True)
class Assumption:
    """A value that nobody gave and that stands in the case all the same.

    `key` as in the case file, `value` in the file's units, and where the value is from.
    """

    key: str
    value: object
    source: str
    label: Label

    def __str__(self) -> str:
        return f"{self.key} = {_in_words(self.value)} [{self.label}] {self.source}"


@dataclass(frozen=True)
class Case:
    """Everything a forecast needs. Change parts of it with `dataclasses.replace` or `with_panel`.

    `defaults` lists what the case file left open; it takes no part in comparing two cases.
    """

    title: str
    measurements: Measurements
    fat_kind: FatKind
    tissue_set: str
    room: Room
    panels: tuple[Panel, ...]
    session: Session
    defaults: tuple[Assumption, ...] = field(default=(), compare=False)

    @cached_property
    def region(self) -> Region:
        """The body region, built once."""
        return Region(self.measurements)

    @cached_property
    def placed(self) -> tuple[PlacedPanel, ...]:
        """The panels in place, built once."""
        return tuple(place(panel, self.region) for panel in self.panels)

    def with_panel(self, name: str, **changes: object) -> "Case":
        """The same case with one panel changed, e.g. `case.with_panel("inner", gap_m=0.010)`.

        Raises KeyError if there is no panel of that name. The new placement is not checked.
        """
        if name not in [panel.name for panel in self.panels]:
            raise KeyError(f'no panel "{name}"; there are {", ".join(panel.name for panel in self.panels)}')
        panels = tuple(
            replace(panel, **changes) if panel.name == name else panel  # type: ignore[arg-type]
            for panel in self.panels
        )
        return replace(self, panels=panels)


def _in_words(value: object) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_in_words(part)}" for name, part in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(map(_in_words, value))
    return f"{value:g}" if isinstance(value, int | float) else str(value)
