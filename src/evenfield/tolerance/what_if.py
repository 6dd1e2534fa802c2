"""A what-if: other gap, tilt, shift or drive of one or several panels, other power, other minutes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import degrees

from evenfield.applicator import Panel
from evenfield.applicator.words import panel_words
from evenfield.case import Case
from evenfield.heat.power import PowerCurve
from evenfield.tolerance.words import signed


@dataclass(frozen=True)
class PanelChange:
    """New values of one panel; what is None stays. `along_m`, `around_m`: shift from the base, towards higher
    level and towards increasing angle, along the skin."""

    panel: str
    gap_m: float | None = None
    tilt_across_rad: float | None = None
    tilt_along_rad: float | None = None
    along_m: float = 0.0
    around_m: float = 0.0
    drive: float | None = None

    def applied_to(self, panel: Panel, skin_radius_m: float) -> Panel:
        """The changed panel."""

        def new(value: float | None, old: float) -> float:
            return old if value is None else value

        return replace(
            panel,
            gap_m=new(self.gap_m, panel.gap_m),
            tilt_across_rad=new(self.tilt_across_rad, panel.tilt_across_rad),
            tilt_along_rad=new(self.tilt_along_rad, panel.tilt_along_rad),
            level_m=panel.level_m + self.along_m,
            angle_rad=panel.angle_rad + self.around_m / skin_radius_m,
            drive=new(self.drive, panel.drive),
        )


@dataclass(frozen=True)
class WhatIf:
    """Changes of panels; `watts`: the highest power, set or absorbed as the case has it, all steps in
    proportion; `minutes`: the end of power, later steps left out or the last one held."""

    panels: tuple[PanelChange, ...] = ()
    watts: float | None = None
    minutes: float | None = None

    def applied_to(self, case: Case) -> Case:
        """The changed case; its placement is not checked. Raises KeyError for a panel that is not there and
        ValueError for power or minutes that are not above 0."""
        for change in self.panels:
            panel = panel_of(case, change.panel)
            changed = change.applied_to(panel, skin_radius(case, panel))
            panels = tuple(changed if p.name == panel.name else p for p in case.panels)
            case = replace(case, panels=panels)
        session = replace(case.session, power=self._power(case.session.power))
        return replace(case, session=replace(session, picture_s=min(session.picture_s, session.end_s)))

    def _power(self, power: PowerCurve) -> PowerCurve:
        if self.watts is not None:
            if not self.watts > 0.0:
                raise ValueError(f"power is {self.watts:g} W; allowed: above 0 W")
            power = power.scaled(self.watts / max(power.watts))
        if self.minutes is not None:
            if not self.minutes > 0.0:
                raise ValueError(f"minutes are {self.minutes:g}; allowed: above 0 min")
            end = 60.0 * self.minutes
            kept = [n for n, start in enumerate(power.start_s) if start < end]
            power = PowerCurve(
                tuple(power.start_s[n] for n in kept), tuple(power.watts[n] for n in kept), end
            )
        return power

    def words(self, case: Case) -> str:
        """What is changed against the base case: inner panel 2 mm closer and 3° tilted along, 30 W."""
        parts = [_panel_words(panel_of(case, change.panel), change) for change in self.panels]
        if self.watts is not None:
            parts.append(f"{self.watts:g} W instead of {max(case.session.power.watts):g} W")
        if self.minutes is not None:
            parts.append(f"{self.minutes:g} min instead of {case.session.power.end_s / 60:g} min")
        return "; ".join(part for part in parts if part) or "nothing changed"


def panel_of(case: Case, name: str) -> Panel:
    """The base case's panel of that name; KeyError if there is none."""
    for panel in case.panels:
        if panel.name == name:
            return panel
    raise KeyError(f'no panel "{name}"; there are {", ".join(panel.name for panel in case.panels)}')


def skin_radius(case: Case, panel: Panel) -> float:
    """Distance from the axis to the skin under a panel's centre, m."""
    return float(case.region.skin_radius(panel.angle_rad, panel.level_m))


def _panel_words(panel: Panel, change: PanelChange) -> str:
    told = []
    if change.gap_m is not None and (mm := round(1e3 * (change.gap_m - panel.gap_m), 1)):
        told.append(f"{abs(mm):g} mm {'further off' if mm > 0 else 'closer'}")
    for way, new, old in (
        ("across", change.tilt_across_rad, panel.tilt_across_rad),
        ("along", change.tilt_along_rad, panel.tilt_along_rad),
    ):
        if new is not None and round(degrees(new - old), 1):
            told.append(f"tilt {way} {signed(degrees(new - old), 1)}°")
    for way, metres in (("along", change.along_m), ("around", change.around_m)):
        if round(1e3 * metres, 1):
            told.append(f"shifted {signed(1e3 * metres, 0)} mm {way}")
    if change.drive is not None and change.drive != panel.drive:
        told.append(f"drive {change.drive:+g} instead of {panel.drive:+g}")
    name = panel_words(panel.name)
    return f"{name} {', '.join(told)}" if told else ""
