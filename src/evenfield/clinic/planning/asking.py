"""A what-if as typed on the page: plain numbers by name in the page's units, checked, for the engine."""

from dataclasses import dataclass
from math import degrees, radians
from typing import TYPE_CHECKING, Any

from evenfield.case import Case

if TYPE_CHECKING:
    from evenfield.tolerance.what_if import WhatIf


@dataclass(frozen=True)
class Control:
    """One thing that can be changed: its name in the form, its words, unit, base value, range and step."""

    name: str
    words: str
    unit: str
    base: float
    low: float
    high: float
    step: float


def panel_controls(case: Case, index: int) -> list[Control]:
    """Gap, tilts and shifts of one panel, as far as a quick answer holds (`tolerance.nearby`)."""
    p = case.panels[index]
    gap, across, along = 1e3 * p.gap_m, degrees(p.tilt_across_rad), degrees(p.tilt_along_rad)
    rows = (
        ("gap", "Gap", "mm", gap, max(2.0, gap - 5), gap + 5, 1.0),
        ("tilt_across", "Tilt across", "°", across, across - 8, across + 8, 1.0),
        ("tilt_along", "Tilt along", "°", along, along - 8, along + 8, 1.0),
        ("along", "Shift along the region", "mm", 0.0, -20.0, 20.0, 5.0),
        ("around", "Shift around it", "mm", 0.0, -20.0, 20.0, 5.0),
    )
    return [
        Control(f"p{index}.{key}", words, unit, round(base, 3), round(low, 3), round(high, 3), step)
        for key, words, unit, base, low, high, step in rows
    ]


def session_controls(case: Case) -> list[Control]:
    """Power and minutes."""
    watts, minutes = max(case.session.power.watts), case.session.power.end_s / 60
    most = max(watts, 1.0)
    step = 1.0 if most < 60 else 5.0
    return [
        Control("power", "Highest power", "W", round(watts, 3), step, round(1.5 * most, 1), step),
        Control("minutes", "Minutes with power", "min", round(minutes, 3), 5.0, max(60.0, minutes), 1.0),
    ]


def controls(case: Case) -> list[Control]:
    """All of them."""
    panels = [one for index in range(len(case.panels)) for one in panel_controls(case, index)]
    return [*panels, *session_controls(case)]


def changes(case: Case, numbers: dict[str, float]) -> dict[str, float]:
    """Only what differs from the base."""
    return {
        one.name: numbers[one.name]
        for one in controls(case)
        if one.name in numbers and abs(numbers[one.name] - one.base) > 1e-6
    }


def what_if_of(case: Case, asked: dict[str, Any]) -> "WhatIf":
    """The what-if of `changes`; numbers in mm, degrees, W and min."""
    from evenfield.tolerance.what_if import PanelChange, WhatIf

    panels = []
    for index, panel in enumerate(case.panels):
        own = {key: float(asked[f"p{index}.{key}"]) for key in _KEYS if f"p{index}.{key}" in asked}
        if own:
            panels.append(
                PanelChange(
                    panel.name,
                    gap_m=1e-3 * own["gap"] if "gap" in own else None,
                    tilt_across_rad=radians(own["tilt_across"]) if "tilt_across" in own else None,
                    tilt_along_rad=radians(own["tilt_along"]) if "tilt_along" in own else None,
                    along_m=1e-3 * own.get("along", 0.0),
                    around_m=1e-3 * own.get("around", 0.0),
                )
            )
    watts, minutes = asked.get("power"), asked.get("minutes")
    return WhatIf(
        tuple(panels),
        watts=None if watts is None else float(watts),
        minutes=None if minutes is None else float(minutes),
    )


_KEYS = ("gap", "tilt_across", "tilt_along", "along", "around")
