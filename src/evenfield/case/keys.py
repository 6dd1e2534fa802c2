"""A case as the case file's keys and values, and which of them nobody gave.

Numbers come back with as few digits as read as the same value; a value that no file can give exactly (one set
in code, in metres or radians, to the last bit) comes back within rounding.
"""

import re
from collections.abc import Callable
from math import degrees, radians

from evenfield.applicator import Panel
from evenfield.body import DIRECTIONS
from evenfield.body.region import SINGLE_LEVEL_REACH_M
from evenfield.case import defaults
from evenfield.case.model import Assumption, Case, PowerKind, seconds
from evenfield.tissue import Label, load_tissue_set


def file_values(case: Case) -> dict[str, object]:
    """Every key that applies, in the file's order and units, e.g. `panel[0].gap_mm`: 12.0."""
    values: dict[str, object] = {"title": case.title}
    values |= {f"region.{name}": value for name, value in _region(case).items()}
    values |= {
        "room.air_c": case.room.air_c,
        "room.air_speed_m_s": case.room.air_speed_m_s,
        "room.humidity": case.room.relative_humidity,
        "room.wettedness": case.room.wettedness,
        "room.drape_clo": case.room.drape_clo,
    }
    for index, panel in enumerate(case.panels):
        values |= {f"panel[{index}].{name}": value for name, value in _panel(panel).items()}
    values |= {f"session.{name}": value for name, value in _session(case).items()}
    values["tissue.set"] = case.tissue_set
    return values


def assumptions(case: Case) -> tuple[Assumption, ...]:
    """What stands in this case without anybody having given it, to be shown beside every result.

    Defaults that were since changed are left out; what follows from the placement or from a single girth is
    added.
    """
    values = file_values(case)
    kept = [a for a in case.defaults if a.key in values and values[a.key] == _default(a.key, case).value]
    if case.session.power_kind is PowerKind.ABSORBED:
        kept = [a for a in kept if a.key != "session.absorbed_fraction"]
    signs = {panel.drive > 0 for panel in case.panels if panel.drive != 0}
    if len(signs) == 1:
        drives = [panel.drive for panel in case.panels]
        source = "no panel of the opposite sign: the surroundings carry the current back"
        kept.append(Assumption("panel.drive", drives, source, Label.A))
    if len(case.measurements.level_m) == 1:
        source = f"one girth stands for {1e3 * SINGLE_LEVEL_REACH_M:g} mm to either side"
        kept.append(Assumption("region.girth_mm", values["region.girth_mm"], source, Label.A))
    return tuple(kept)


def tissue_assumptions(case: Case) -> tuple[Assumption, ...]:
    """Values of the case's tissue set that the set itself calls assumptions (label A), by tissue.

    Of a mixture its fractions stand for all that is computed from them, of a dispersion one line for all of
    it. Reads the set; raises TissueError if its file has gone.
    """
    used = load_tissue_set(case.tissue_set).with_fat(case.fat_kind)
    values = {f"blood.{name}": getattr(used.blood, name) for name in ("density", "heat_capacity")}
    for layer in case.region.layers:
        own = used.tissue(layer).values
        parts = [name for name in own if name.endswith(".fraction")]
        values |= {f"{layer}.{name}": own[name] for name in parts or own}
    assumed = {name: value for name, value in values.items() if value.label is Label.A}
    found = {}
    for name, value in assumed.items():
        key, dispersion, _ = name.partition(".dielectric.")
        told = "a dispersion of its own" if dispersion else f"{value.value:g} {value.unit}".removesuffix(" 1")
        found[key + dispersion.rstrip(".")] = told, value.source
    return tuple(Assumption(key, told, source, Label.A) for key, (told, source) in found.items())


def left_open(case: Case) -> dict[str, str]:
    """Keys at their default that the file left open, with the source of what stands in."""
    noted, values = {a.key: a.source for a in case.defaults}, file_values(case)
    return {
        key: noted[key]
        for key, value in values.items()
        if key in noted and value == _default(key, case).value
    }


def _default(key: str, case: Case) -> Assumption:
    """What would stand in for `key` in this case as it is now."""
    if key == "region.levels_mm":
        return defaults.levels(len(case.measurements.level_m))
    if key == "session.picture_minute":
        return defaults.picture(_shortest(case.session.power.end_s, _minutes, seconds))
    panel = re.fullmatch(r"panel\[(\d+)\]\.(\w+)", key)
    if panel is None:
        return defaults.default(key, case.measurements.kind)
    index, name = int(panel[1]), panel[2]
    if name == "name":
        return defaults.panel_name(index)
    return defaults.default(f"panel.{name}", case.measurements.kind, index)


def _region(case: Case) -> dict[str, object]:
    m = case.measurements
    rows = [[_mm(value) for value in row] for row in m.fat_m]
    tables = [row[0] if len(set(row)) == 1 else dict(zip(DIRECTIONS, row, strict=True)) for row in rows]
    values: dict[str, object] = {"kind": m.kind.value}
    if m.side is not None:
        values["side"] = m.side
    values |= {
        "levels_mm": [_mm(v) for v in m.level_m],
        "girth_mm": [_mm(v) for v in m.girth_m],
        "width_to_depth": m.width_to_depth,
        "fat_mm": tables[0] if all(table == tables[0] for table in tables) else tables,
        "skin_mm": _mm(m.skin_m),
    }
    values |= {"wall_mm": _mm(m.wall_m)} if m.kind.trunk else {"bone_radius_mm": _mm(m.bone_radius_m)}
    return values | {"fat": case.fat_kind.value}


def _panel(panel: Panel) -> dict[str, object]:
    return {
        "name": panel.name,
        "shape": panel.shape.value,
        "angle_deg": _deg(panel.angle_rad),
        "level_mm": _mm(panel.level_m),
        "width_mm": _mm(panel.width_m),
        "length_mm": _mm(panel.length_m),
        "gap_mm": _mm(panel.gap_m),
        "tilt_across_deg": _deg(panel.tilt_across_rad),
        "tilt_along_deg": _deg(panel.tilt_along_rad),
        "drive": panel.drive,
    }


def _session(case: Case) -> dict[str, object]:
    s = case.session
    name = "power_w" if s.power_kind is PowerKind.SET else "absorbed_w"
    values: dict[str, object] = {}
    if len(s.power.watts) == 1:
        values[name] = s.power.watts[0]
    else:
        starts = (_shortest(t, _minutes, seconds) for t in s.power.start_s)
        values["steps"] = [
            {"minute": minute, name: watts} for minute, watts in zip(starts, s.power.watts, strict=True)
        ]
    f = s.absorbed_fraction
    return values | {
        "minutes": _shortest(s.power.end_s, _minutes, seconds),
        "after_minutes": _shortest(s.after_s, _minutes, seconds),
        "absorbed_fraction": {"low": f.low, "mid": f.mid, "high": f.high},
        "band_c": list(s.band_c),
        "picture_minute": _shortest(s.picture_s, _minutes, seconds),
        "baseline_c": s.baseline_c,
    }


def _mm(metres: float) -> float:
    return _shortest(metres, lambda v: 1000 * v, lambda v: v / 1000)


def _deg(angle_rad: float) -> float:
    return _shortest(angle_rad, degrees, radians)


def _minutes(seconds: float) -> float:
    return seconds / 60


def _shortest(value: float, write: Callable[[float], float], read: Callable[[float], float]) -> float:
    """The number with fewest digits that reads as `value`, else the nearest there is."""
    exact = write(value)
    for digits in range(4, 17):
        short = float(f"{exact:.{digits}g}")
        if read(short) == value:
            return short
    return exact
