"""What stands in for every key that a case file leaves open, with source and label, in the file's units."""

from evenfield.body import PLAUSIBLE, RegionKind
from evenfield.body.plausible import SKIN, WALL
from evenfield.case.model import Assumption
from evenfield.tissue import Label, Value

FIRST_LEVEL_MM, LAST_LEVEL_MM = -80.0, 80.0
_ABSORBED = {"low": 0.35, "mid": 0.55, "high": 0.75}


def _assumed(key: str, value: object, source: str, label: Label = Label.A) -> tuple[str, Assumption]:
    return key, Assumption(key, value, source, label)


def _measure(key: str, value: Value) -> tuple[str, Assumption]:
    in_mm = round(1e3 * value.value, 9) if value.unit == "m" else value.value
    return _assumed(key, in_mm, value.source, value.label)


_ANYWHERE: dict[str, Assumption] = dict(
    [
        _assumed("title", "untitled", "no title given"),
        _assumed(
            "region.fat",
            "average_infiltrated",
            "published tables disagree on plain fat; name which one is meant",
        ),
        _measure("region.skin_mm", SKIN),
        _measure("region.wall_mm", WALL),
        _assumed("room.air_c", 23.0, "a usual treatment room"),
        _assumed("room.air_speed_m_s", 0.1, "still air, the cautious case: a fan cools the skin more"),
        _assumed("room.humidity", 0.5, "a usual treatment room"),
        _assumed("room.wettedness", 0.06, "skin that does not sweat", Label.P),
        _assumed("room.drape_clo", 0.0, "bare skin"),
        _assumed("panel.shape", "flat", "the commoner plate"),
        _assumed("panel.angle_deg", 0.0, "on the front"),
        _assumed("panel.level_mm", 0.0, "at level 0"),
        _assumed("panel.width_mm", 90.0, "an example size: measure the panel"),
        _assumed("panel.length_mm", 140.0, "an example size: measure the panel"),
        _assumed("panel.gap_mm", 10.0, "common practice, no source"),
        _assumed("panel.tilt_across_deg", 0.0, "parallel"),
        _assumed("panel.tilt_along_deg", 0.0, "parallel"),
        _assumed("panel.drive", 1.0, "full drive"),
        _assumed("session.power_w", 60.0, "an example value: give the power meant"),
        _assumed("session.minutes", 30.0, "a usual session, common practice, no source"),
        _assumed("session.after_minutes", 0.0, "nothing followed after the power ends"),
        _assumed("session.absorbed_fraction", _ABSORBED, "a wide guess until the device has been calibrated"),
        _assumed("session.band_c", [39.0, 42.0], "stands in until the clinic sets its own band"),
        _assumed("session.baseline_c", 37.0, "usual core temperature"),
        _assumed("tissue.set", "default", "the set that comes with the package"),
    ]
)


def default(key: str, kind: RegionKind, index: int | None = None) -> Assumption:
    """What stands in for `key` on this kind of region; a panel's key comes without its `index`."""
    facts = PLAUSIBLE[kind]
    by_kind = {
        "region.fat_mm": facts.fat,
        "region.bone_radius_mm": facts.bone_radius,
        "region.width_to_depth": facts.width_to_depth,
    }
    found = _measure(key, by_kind[key])[1] if key in by_kind else _ANYWHERE[key]
    if index is None:
        return found
    return Assumption(key.replace("panel.", f"panel[{index}]."), found.value, found.source, found.label)


def panel_name(index: int) -> Assumption:
    """Names by number where none is given."""
    return Assumption(f"panel[{index}].name", f"panel {index + 1}", "named by number", Label.A)


def levels(count: int) -> Assumption:
    """Levels spread evenly from -80 to 80 mm, or 0 for a single girth."""
    step = (LAST_LEVEL_MM - FIRST_LEVEL_MM) / max(count - 1, 1)
    spread = [0.0] if count == 1 else [FIRST_LEVEL_MM + step * i for i in range(count)]
    return Assumption("region.levels_mm", spread, "spread evenly: measure where the tape was", Label.A)


def picture(minutes: float) -> Assumption:
    """Pictures at the end of power."""
    return Assumption("session.picture_minute", minutes, "at the end of power", Label.A)


KEYS = tuple(_ANYWHERE)
"""Every key with one default for all kinds of region."""
