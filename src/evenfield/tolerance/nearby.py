"""The placements near a base case that a preview holds for: their parameters, range, and a set spread over
it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import degrees, radians

import numpy as np
from numpy.typing import NDArray

from evenfield.applicator import Panel, check_placement, place
from evenfield.case import Case
from evenfield.field.solve import one_sign
from evenfield.tolerance.what_if import skin_radius

Floats = NDArray[np.float64]
HALF_RANGE = {
    "gap": 5e-3,
    "tilt across": radians(8),
    "tilt along": radians(8),
    "shift along": 20e-3,
    "shift around": 20e-3,
    "drive": 0.25,
}
"""How far each parameter may be from the base: m, rad, m along the skin, and a share of the drive."""
NEAREST_M = 3e-3
"""Nearer than this to the skin the field is too steep for a preview."""
MOST_POWER, MOST_MINUTES = 1.5, 60.0
"""Power (over the base's highest) and minutes a preview holds for."""


class PreviewRangeError(ValueError):
    """A what-if outside of what a preview holds for; one sentence that asks for the full answer."""

    def __init__(self, sentence: str) -> None:
        super().__init__(f"{sentence}; ask for the full answer")


@dataclass(frozen=True)
class Nearby:
    """Placements near that of `case` as points (d,) of scaled parameters, 0 the base, −1 to 1 the range."""

    case: Case

    @property
    def keys(self) -> tuple[str, ...]:
        """Parameters of each panel. With two panels facing each other only the difference of their drives
        counts, and at a given power not even that; so there the drive is none."""
        drives = [p.drive for p in self.case.panels]
        counts = len(drives) > 2 or (len(drives) == 2 and one_sign(drives))
        return tuple(k for k in HALF_RANGE if counts or k != "drive")

    @property
    def size(self) -> int:
        """d."""
        return len(self.keys) * len(self.case.panels)

    def placed(self, point: Floats) -> Case:
        """The case at a point."""
        rows = point.reshape(len(self.case.panels), -1)
        panels = tuple(self._moved(p, row) for p, row in zip(self.case.panels, rows, strict=True))
        return replace(self.case, panels=panels)

    def _moved(self, panel: Panel, row: Floats) -> Panel:
        by = {key: float(x) * HALF_RANGE[key] for key, x in zip(self.keys, row, strict=True)}
        return replace(
            panel,
            gap_m=panel.gap_m + by["gap"],
            tilt_across_rad=panel.tilt_across_rad + by["tilt across"],
            tilt_along_rad=panel.tilt_along_rad + by["tilt along"],
            level_m=panel.level_m + by["shift along"],
            angle_rad=panel.angle_rad + by["shift around"] / skin_radius(self.case, panel),
            drive=panel.drive * (1.0 + by.get("drive", 0.0)),
        )

    def point(self, changed: Case) -> Floats:
        """The point of a changed case. Raises PreviewRangeError outside of the range and PlacementError for
        an impossible placement."""
        rows = []
        for old, new in zip(self.case.panels, changed.panels, strict=True):
            by = {
                "gap": new.gap_m - old.gap_m,
                "tilt across": new.tilt_across_rad - old.tilt_across_rad,
                "tilt along": new.tilt_along_rad - old.tilt_along_rad,
                "shift along": new.level_m - old.level_m,
                "shift around": (new.angle_rad - old.angle_rad) * skin_radius(self.case, old),
                "drive": 0.0 if old.drive == new.drive else new.drive / old.drive - 1.0 if old.drive else 9.0,
            }
            for key in self.keys:
                if abs(by[key]) > HALF_RANGE[key] * (1 + 1e-9):
                    raise PreviewRangeError(
                        f"{new.name} panel, {key}: {_units(key, by[key])} from the base; "
                        f"a preview holds to {_units(key, HALF_RANGE[key])}"
                    )
            rows.append([by[key] / HALF_RANGE[key] for key in self.keys])
        if one_sign([p.drive for p in changed.panels]) != one_sign([p.drive for p in self.case.panels]):
            raise PreviewRangeError("the drives' signs differ from the base's")
        check_placement(changed.region, changed.placed)
        for one in changed.placed:
            if one.nearest_gap_m < NEAREST_M:
                raise PreviewRangeError(
                    f"{one.panel.name} panel: {1e3 * one.nearest_gap_m:.1f} mm from the skin at its nearest; "
                    f"a preview holds from {1e3 * NEAREST_M:g} mm"
                )
        self._check_session(changed)
        return np.array(rows).ravel()

    def _check_session(self, changed: Case) -> None:
        power, base = changed.session.power, self.case.session.power
        most = MOST_POWER * max(base.watts)
        if max(power.watts) > most * (1 + 1e-9):
            raise PreviewRangeError(f"power is {max(power.watts):g} W; a preview holds to {most:g} W")
        if power.end_s > 60.0 * MOST_MINUTES:
            raise PreviewRangeError(
                f"power lasts {power.end_s / 60:g} min; a preview holds to {MOST_MINUTES:g} min"
            )

    def spread(self, skip: int = 0) -> Iterator[Floats]:
        """Possible points spread evenly over the range (Halton's sequence, each panel its own part of it,
        what is not possible left out). `skip`: how many points of each panel's to pass over."""
        d = len(self.keys)
        series = [self._panel_series(n, skip) for n in range(len(self.case.panels))]
        for _ in range(20_000 // d):
            point = np.concatenate([next(one) for one in series])
            try:
                self.point(self.placed(point))
            except ValueError:
                continue
            yield point

    def _panel_series(self, number: int, skip: int) -> Iterator[Floats]:
        """Points of one panel that are possible by themselves."""
        d, base = len(self.keys), self.case.panels[number]
        from scipy.stats import qmc  # takes as long to load as all the rest

        halton = qmc.Halton(d=self.size, scramble=False)
        halton.fast_forward(1 + skip)
        while True:
            row = 2.0 * halton.random(1)[0, number * d : (number + 1) * d] - 1.0
            placed = place(replace(self._moved(base, row), drive=1.0), self.case.region)
            try:
                check_placement(self.case.region, (placed,))
            except ValueError:
                continue
            if placed.nearest_gap_m >= NEAREST_M:
                yield row


def _units(key: str, value: float) -> str:
    if key.startswith("tilt"):
        return f"{degrees(value):.1f}°"
    return f"{100 * value:.0f} %" if key == "drive" else f"{1e3 * value:.1f} mm"
