"""Placements that cannot be: a panel in the skin, two panels in one place, a panel where nothing was
measured.

Each refusal is one sentence with the case file's key, the value and what is allowed, in the file's units.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import ceil, degrees, floor, isfinite, pi, radians

import numpy as np

from evenfield.applicator.panel import Panel, PanelShape
from evenfield.applicator.placed import PlacedPanel, place
from evenfield.applicator.words import spot_name
from evenfield.body import InputError, Region

LEAST_GAP_M = 0.001
"""No point of a panel may come nearer to the skin (label A: closer counts as touching)."""
LEAST_SPACING_M = 0.005
"""Two panels may not come nearer to each other, seen from the axis (label A)."""
STEEPEST_VIEW_RAD = 70 * pi / 180
"""A ray from the axis must meet a flat panel at no more than this angle off square (label A)."""
WIDEST_WRAP_RAD = 170 * pi / 180
"""A curved panel may reach this far around to either side of its centre (label A)."""
FARTHEST_TILT_DEG = 20.0
"""No tilt beyond this is offered (label A; a case file takes none)."""
_LEVEL_TOLERANCE_M = 1e-6


class PlacementError(InputError):
    """A placement that cannot be computed or must not be tried."""


def check_placement(region: Region, placed: Sequence[PlacedPanel], *, beyond_m: float = 0.0) -> None:
    """Refuse an impossible placement of these panels over the region.

    `beyond_m`: how far a panel may reach past the measured levels, where the outermost section is held.
    Raises PlacementError for the first of: no panel, a size that is not positive and finite, all drives zero,
    a panel beyond the measured levels, a panel too wide to be seen from the axis, a tilt that makes an edge
    touch, a panel through the skin, two panels in one place.
    """
    if not placed:
        raise PlacementError(
            "panel: at least one [[panel]] is needed", key="panel", allowed="at least one [[panel]]"
        )
    for index, one in enumerate(placed):
        _refuse_sizes(index, one.panel)
    if all(one.panel.drive == 0 for one in placed):
        raise PlacementError(
            "panel.drive = 0 for every panel: nothing would be heated; at least one drive must differ from 0",
            key="panel.drive",
            value=0.0,
            allowed="at least one drive other than 0",
        )
    for index, one in enumerate(placed):
        _refuse_off_region(index, one.panel, region, beyond_m)
        _refuse_too_wide(index, one)
        _refuse_touching(index, one)
    for second in range(len(placed)):
        for first in range(second):
            _refuse_overlap(first, second, placed[first], placed[second])


def _refuse_sizes(index: int, panel: Panel) -> None:
    for key, value in (
        ("width_mm", panel.width_m),
        ("length_mm", panel.length_m),
        ("gap_mm", panel.gap_m),
    ):
        if not (isfinite(value) and value > 0):
            raise _error(index, panel, key, 1e3 * value, "must be above 0", "above 0")
    for key, value in (
        ("angle_deg", panel.angle_rad),
        ("level_mm", panel.level_m),
        ("tilt_across_deg", panel.tilt_across_rad),
        ("tilt_along_deg", panel.tilt_along_rad),
        ("drive", panel.drive),
    ):
        if not isfinite(value):
            raise _error(index, panel, key, value, "must be a finite number", "a finite number")


def _refuse_off_region(index: int, panel: Panel, region: Region, beyond_m: float) -> None:
    low, high = region.level_range_m
    bottom, top = panel.level_m - 0.5 * panel.length_m, panel.level_m + 0.5 * panel.length_m
    reach = beyond_m + _LEVEL_TOLERANCE_M
    if low - reach <= bottom and top <= high + reach:
        return
    measured = f"the region is measured from level {_mm(low)} to {_mm(high)} mm"
    if panel.length_m > high - low + _LEVEL_TOLERANCE_M:
        allowed = f"up to {_mm(high - low)}"
        raise _error(
            index,
            panel,
            "length_mm",
            1e3 * panel.length_m,
            f"the panel reaches off the region, for {measured}; allowed {allowed} mm, or measure further",
            allowed,
        )
    allowed = f"from {_mm(low + 0.5 * panel.length_m)} to {_mm(high - 0.5 * panel.length_m)}"
    raise _error(
        index,
        panel,
        "level_mm",
        1e3 * panel.level_m,
        f"with length_mm = {_mm(panel.length_m)} the panel reaches from level {_mm(bottom)} to "
        f"{_mm(top)} mm, off the region, for {measured}; allowed {allowed} mm, or measure further",
        allowed,
    )


def _refuse_too_wide(index: int, placed: PlacedPanel) -> None:
    panel = placed.panel
    if panel.shape is PanelShape.CURVED:
        turn = _widest_wrap(placed)
        if turn > WIDEST_WRAP_RAD:
            widest = _largest(lambda w: _widest_wrap(_of_width(placed, w)) <= WIDEST_WRAP_RAD, panel.width_m)
            allowed = f"up to {1e3 * widest:.0f}"
            raise _error(
                index,
                panel,
                "width_mm",
                1e3 * panel.width_m,
                f"a curved panel of this width would reach {degrees(turn):.0f}° around to a side; "
                f"allowed {allowed} mm here ({degrees(WIDEST_WRAP_RAD):.0f}° to each side)",
                allowed,
            )
        return
    view = _steepest_view(placed)
    if view > STEEPEST_VIEW_RAD:
        widest = _largest(lambda w: _steepest_view(_of_width(placed, w)) <= STEEPEST_VIEW_RAD, panel.width_m)
        allowed = f"up to {1e3 * widest:.0f}" if widest > 0 else "a smaller tilt"
        raise _error(
            index,
            panel,
            "width_mm",
            1e3 * panel.width_m,
            f"a flat panel of this width reaches past the side of the region ({degrees(view):.0f}° off "
            f"square at its edge, allowed {degrees(STEEPEST_VIEW_RAD):.0f}°); allowed {allowed} mm here, "
            'or shape = "curved"',
            allowed,
        )


def _widest_wrap(placed: PlacedPanel) -> float:
    """Angle from a curved panel's centre to the farther of its sides, at the level where it is greatest."""
    half = 0.5 * placed.panel.width_m
    _, v = placed.mesh(3)
    region, gap, level = placed.region, placed.panel.gap_m, placed.panel.level_m + v
    start = region.offset_arc(placed.panel.angle_rad, level, gap)
    low, high = (region.angle_at_offset_arc(start + u, level, gap) for u in (-half, half))
    return float(np.max([placed.panel.angle_rad - low, high - placed.panel.angle_rad]))


def _steepest_view(placed: PlacedPanel) -> float:
    """Greatest angle between a ray from the axis and a flat panel's normal, over its two long edges."""
    u, v = placed.mesh(3)
    points = placed.point(u[:, None], v)
    rays = points[..., :2] / np.hypot(points[..., 0], points[..., 1])[..., None]
    return float(np.arccos(np.clip(rays @ placed.normal[:2], -1, 1)).max())


def _refuse_touching(index: int, placed: PlacedPanel) -> None:
    nearest = placed.nearest_gap_m
    if nearest >= LEAST_GAP_M:
        return
    panel = placed.panel
    need = f"at least {_mm(LEAST_GAP_M)} mm of air is needed everywhere"
    if _tilted(placed, 0.0, 0.0).nearest_gap_m >= LEAST_GAP_M:
        key, tilt, without = _tilt_to_blame(placed)
        down, up = (_most_tilt(without, side) for side in (-1.0, 1.0))
        allowed = f"from {-down:.1f} to {up:.1f}°" if down + up > 0 else "0° with a smaller other tilt"
        u, v = placed.nearest_place
        side = (9 * u, 0.0) if key == "tilt_across_deg" else (0.0, 9 * v)
        edge = spot_name(panel, placed.region.measurements.kind.trunk, *side)
        raise _error(
            index,
            panel,
            key,
            degrees(tilt),
            f"this tilt brings the panel's {edge} {_into(nearest)}; {need}; allowed here {allowed}",
            allowed,
        )
    allowed = f"from {ceil(1e4 * _least_gap(placed) - 1e-6) / 10:.1f}"
    spot = spot_name(panel, placed.region.measurements.kind.trunk, *placed.nearest_place)
    raise _error(
        index,
        panel,
        "gap_mm",
        1e3 * panel.gap_m,
        f"the panel comes {_into(nearest)} at its {spot}; {need}; allowed here {allowed} mm",
        allowed,
    )


def _least_gap(placed: PlacedPanel) -> float:
    """Least gap at the centre that keeps the whole panel clear; lifting gains a little less than it lifts."""
    for _ in range(40):
        lack = LEAST_GAP_M - placed.nearest_gap_m
        if lack <= 1e-7:
            break
        placed = place(replace(placed.panel, gap_m=placed.panel.gap_m + lack), placed.region)
    return placed.panel.gap_m


def _tilt_to_blame(placed: PlacedPanel) -> tuple[str, float, Callable[[float], PlacedPanel]]:
    """The tilt that alone already touches, else the one that takes more of the gap where the skin is nearest.

    Returns its key, its value, and the panel with any other value of it.
    """
    across, along = placed.panel.tilt_across_rad, placed.panel.tilt_along_rad
    across_alone = _tilted(placed, across, 0.0).nearest_gap_m < LEAST_GAP_M
    along_alone = _tilted(placed, 0.0, along).nearest_gap_m < LEAST_GAP_M
    u, v = placed.nearest_place
    takes_more = abs(u * np.tan(across)) > abs(v * np.tan(along))
    if across_alone > along_alone or (across_alone == along_alone and takes_more):
        return "tilt_across_deg", across, lambda tilt: _tilted(placed, tilt, along)
    return "tilt_along_deg", along, lambda tilt: _tilted(placed, across, tilt)


def _most_tilt(tilted: Callable[[float], PlacedPanel], side: float) -> float:
    """How far a tilt may go to a side (-1, 1) without touching, in whole tenths of a degree, at most
    `FARTHEST_TILT_DEG`; 0 where none may."""
    most = _largest(
        lambda deg: tilted(side * radians(deg)).nearest_gap_m >= LEAST_GAP_M, FARTHEST_TILT_DEG + 0.05
    )
    return floor(10 * most) / 10


def _refuse_overlap(first: int, second: int, one: PlacedPanel, other: PlacedPanel) -> None:
    spacing = min(_spacing(one, other), _spacing(other, one))
    if spacing >= LEAST_SPACING_M:
        return
    how = "overlaps" if spacing <= 0 else f"lies only {1e3 * spacing:.1f} mm from"
    allowed = f"at least {_mm(LEAST_SPACING_M)} mm between panels"
    raise _error(
        second,
        other.panel,
        "angle_deg",
        degrees(other.panel.angle_rad),
        f'the panel {how} panel[{first}] ("{one.panel.name}") as seen from the region\'s axis; '
        f"{allowed} is needed: move, turn or narrow one of them",
        allowed,
    )


def _spacing(one: PlacedPanel, other: PlacedPanel) -> float:
    """How far outside `other`'s rectangle the nearest point of `one` is seen; 0 where they overlap."""
    u, v = one.mesh(41)
    angle, level, _ = one.polar(u[:, None], v)
    u, v = other.local(angle, level)
    beyond_u = np.maximum(np.abs(u) - 0.5 * other.panel.width_m, 0.0)
    beyond_v = np.maximum(np.abs(v) - 0.5 * other.panel.length_m, 0.0)
    beyond = np.hypot(beyond_u, beyond_v)
    return float(np.nanmin(beyond, initial=np.inf))


def _of_width(placed: PlacedPanel, width: float) -> PlacedPanel:
    return place(replace(placed.panel, width_m=width), placed.region)


def _tilted(placed: PlacedPanel, across: float, along: float) -> PlacedPanel:
    return place(replace(placed.panel, tilt_across_rad=across, tilt_along_rad=along), placed.region)


def _largest(fits: Callable[[float], bool], too_much: float) -> float:
    """Greatest value below `too_much` that still fits, by halving; 0 if none does."""
    low, high = 0.0, too_much
    for _ in range(14):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def _into(nearest: float) -> str:
    if nearest <= 0:
        return f"{-1e3 * nearest:.1f} mm into the skin"
    return f"within {1e3 * nearest:.1f} mm of the skin"


def _mm(metres: float) -> str:
    return f"{1e3 * metres:.4g}"


def _error(index: int, panel: Panel, key: str, value: float, why: str, allowed: str) -> PlacementError:
    full = f"panel[{index}].{key}"
    return PlacementError(
        f'{full} = {value:.4g} (panel "{panel.name}"): {why}', key=full, value=value, allowed=allowed
    )
