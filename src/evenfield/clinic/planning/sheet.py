"""The form of a case: one text per field, in the case file's units, and back to a checked case.

A field left empty is left open: the case then notes what stands in, with its source. `evenfield.case` checks
everything; its sentence is put beside the field it is about.
"""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from evenfield.applicator import PanelShape
from evenfield.body import DIRECTIONS, InputError, RegionKind
from evenfield.case import Case, case_from_toml, file_values
from evenfield.case.defaults import default
from evenfield.case.keys import left_open
from evenfield.tissue import FatKind

LEVELS, PANELS = 5, 4
_NUMBER = re.compile(r"[-+−]?\d{1,6}(?:[.,]\d{1,6})?")
Values = dict[str, str]


@dataclass(frozen=True)
class CaseEntry:
    """One field: its `name` in the form, its words and unit, and its choices if it is one of several."""

    name: str
    label: str
    unit: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    text: bool = False


def _choices(kinds: Any) -> tuple[tuple[str, str], ...]:
    return tuple((kind.value, kind.value.replace("_", " ")) for kind in kinds)


TITLE = CaseEntry("title", "Title of the plan (nobody's name)", text=True)
REGION = (
    CaseEntry("region.kind", "Region", choices=_choices(RegionKind)),
    CaseEntry("region.side", "Side", choices=(("", "no side"), ("left", "left"), ("right", "right"))),
    CaseEntry("region.fat", "Kind of fat", choices=(("", "left open"), *_choices(FatKind))),
    CaseEntry("region.width_to_depth", "Width over depth, as bolstered"),
    CaseEntry("region.skin_mm", "Skin thickness", "mm"),
    CaseEntry("region.bone_radius_mm", "Bone radius (limbs)", "mm"),
    CaseEntry("region.wall_mm", "Muscle wall (trunk)", "mm"),
)
LEVEL = (("level", "Level, mm"), ("girth", "Girth, mm"), *((d, f"Fat {d}, mm") for d in DIRECTIONS))
ROOM = (
    CaseEntry("room.air_c", "Air", "°C"),
    CaseEntry("room.air_speed_m_s", "Air speed at the region", "m/s"),
    CaseEntry("room.humidity", "Relative humidity, 0 to 1"),
    CaseEntry("room.wettedness", "Wet share of the skin, 0 to 1"),
    CaseEntry("room.drape_clo", "Drape over the region", "clo"),
)
PANEL = (
    CaseEntry("name", "Name", text=True),
    CaseEntry("shape", "Shape", choices=(("", "left open"), *_choices(PanelShape))),
    CaseEntry("width_mm", "Width", "mm"),
    CaseEntry("length_mm", "Length", "mm"),
    CaseEntry("angle_deg", "Angle (front 0, inner or left 90)", "°"),
    CaseEntry("level_mm", "Level", "mm"),
    CaseEntry("gap_mm", "Gap", "mm"),
    CaseEntry("tilt_across_deg", "Tilt across", "°"),
    CaseEntry("tilt_along_deg", "Tilt along", "°"),
    CaseEntry("drive", "Drive (opposite signs face each other)"),
)
SESSION = (
    CaseEntry(
        "session.kind", "Power is", choices=(("power_w", "set power"), ("absorbed_w", "absorbed power"))
    ),
    CaseEntry("session.power", "Power", "W"),
    CaseEntry("session.minutes", "Minutes with power", "min"),
    CaseEntry("session.steps", "Or steps, as 0: 40; 5: 60 (minute: W)", text=True),
    CaseEntry("session.after_minutes", "Followed after power", "min"),
    CaseEntry("session.picture_minute", "Pictures at", "min"),
)
WANTED = (
    CaseEntry("session.band_low", "Band in fat from", "°C"),
    CaseEntry("session.band_high", "to", "°C"),
    CaseEntry("session.fraction_low", "Absorbed share of set power, low"),
    CaseEntry("session.fraction_mid", "middle"),
    CaseEntry("session.fraction_high", "high"),
    CaseEntry("session.baseline_c", "Core temperature", "°C"),
)
_PAIRS = {
    "session.band_c": ("session.band_low", "session.band_high"),
    "session.absorbed_fraction": tuple(f"session.fraction_{end}" for end in ("low", "mid", "high")),
}


@dataclass
class Problems(Exception):  # noqa: N818 (it holds several)
    """What is wrong: a sentence by the field's name; "" for what belongs to none."""

    by_field: dict[str, str] = field(default_factory=dict)


def number(text: str) -> float:
    """A number with decimal point or comma. Raises ValueError with one sentence."""
    text = text.strip()
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"“{text[:20]}” is not a number such as 12.5 or 12,5.")
    return float(text.replace(",", ".").replace("−", "-"))


def case_of(values: Mapping[str, str]) -> Case:
    """The checked case. Raises Problems."""
    reader = _Reader(values)
    text = reader.toml()
    if reader.problems:
        raise Problems(reader.problems)
    try:
        return case_from_toml(text, "")
    except InputError as error:
        raise Problems({reader.field_of(error.key): sentence(error)}) from error


def panel_sentence(error: ValueError) -> str:
    """The sentence without a key, led by the panel it is about, for a page without a field for it."""
    named = re.match(r'panel\[\d+\][^:]*\(panel "([^"]*)"\): ', str(error))
    return (
        sentence(error) if named is None else f"{named[1][:1].upper()}{named[1][1:]} panel: {_lower(error)}"
    )


def _lower(error: ValueError) -> str:
    words = sentence(error)
    return words[:1].lower() + words[1:]


def sentence(error: ValueError) -> str:
    """The sentence without the key of the case file, which nobody sees here."""
    words = getattr(error, "sentence", str(error))
    words = re.sub(r'^[\w.\[\]]+ = [^:(]*(\(panel "[^"]*"\))?: ', "", words)
    words = re.sub(r"(?:\w+(?:\[\d\])?\.)*(\w+)_mm = (-?[\d.]*\d)", r"\1 = \2 mm", words)
    words = re.sub(r"(?:\w+(?:\[\d\])?\.)*(\w+)_deg = (-?[\d.]*\d)", r"\1 = \2°", words)
    return f"{words[:1].upper()}{words[1:]}{'' if words.endswith('.') else '.'}"


class _Reader:
    """Reads texts into the case file's keys, and remembers which row or block of the form each came from."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self.values = {name: text.strip() for name, text in values.items()}
        self.problems: dict[str, str] = {}
        self.levels = [n for n in range(LEVELS) if any(self._text(f"level{n}.{key}") for key, _ in LEVEL)]
        self.panels = [n for n in range(PANELS) if any(self._text(f"p{n}.{e.name}") for e in PANEL)]

    def _text(self, name: str) -> str:
        return self.values.get(name, "")

    def _number(self, name: str) -> float | None:
        if not self._text(name):
            return None
        try:
            return number(self._text(name))
        except ValueError as error:
            self.problems[name] = str(error)
            return None

    def _needed(self, name: str, sentence: str) -> float | None:
        if not self._text(name):
            self.problems[name] = sentence
        return self._number(name)

    def _taken(self, entries: tuple[CaseEntry, ...], before: str = "") -> dict[str, Any]:
        taken: dict[str, Any] = {}
        for entry in entries:
            name = f"{before}{entry.name}"
            plain = entry.text or entry.choices
            value = (self._text(name) or None) if plain else self._number(name)
            if value is not None:
                taken[entry.name.rpartition(".")[2]] = value
        return taken

    def toml(self) -> str:
        """The text of a case file; problems are noted."""
        sections = [_table("region", self._region()), _table("room", self._taken(ROOM))]
        if not self.panels:
            self.problems["p0.name"] = "Describe at least one panel."
        sections += [_table("[panel]", self._taken(PANEL, f"p{n}.")) for n in self.panels]
        sections.append(_table("session", self._session()))
        title = self._text("title")
        return (f"title = {json.dumps(title, ensure_ascii=False)}\n" if title else "") + "".join(sections)

    def _region(self) -> dict[str, Any]:
        taken = self._taken(REGION)
        if not self.levels:
            self.problems["level0.girth"] = "Give at least one girth."
        levels = [self._needed(f"level{n}.level", "Give the level of this girth.") for n in self.levels]
        girths = [self._needed(f"level{n}.girth", "Give the girth at this level.") for n in self.levels]
        if None not in levels and None not in girths:
            taken |= {"levels_mm": levels, "girth_mm": girths}
        rows = {n: {d: self._number(f"level{n}.{d}") for d in DIRECTIONS} for n in self.levels}
        rows = {n: row for n, row in rows.items() if any(self._text(f"level{n}.{d}") for d in DIRECTIONS)}
        for n, row in rows.items():
            for direction, value in row.items():
                if value is None and f"level{n}.{direction}" not in self.problems:
                    self.problems[f"level{n}.{direction}"] = "Give the fat in all four directions of a level."
        if len(rows) == 1:
            taken["fat_mm"] = next(iter(rows.values()))
        elif rows and len(rows) < len(self.levels):
            missing = next(n for n in self.levels if n not in rows)
            self.problems[f"level{missing}.front"] = "Give the fat at one level, or at every level."
        elif rows:
            taken["fat_mm"] = list(rows.values())
        return taken

    def _session(self) -> dict[str, Any]:
        taken = self._taken((*SESSION[4:],))
        kind = self._text("session.kind") or "power_w"
        if self._text("session.steps"):
            taken["steps"] = self._steps(kind)
            if self._text("session.power"):
                self.problems["session.steps"] = "Give one power or steps, not both."
        else:
            taken[kind] = self._needed("session.power", "Give the power you mean to use.")
        taken["minutes"] = self._needed("session.minutes", "Give the minutes with power.")
        for key, names in _PAIRS.items():
            parts = [self._number(name) for name in names]
            if any(self._text(name) for name in names):
                for name, part in zip(names, parts, strict=True):
                    if part is None and name not in self.problems:
                        self.problems[name] = "Give all of these, or none."
                keyed = dict(zip(("low", "mid", "high"), parts, strict=False))
                taken[key.partition(".")[2]] = parts if key == "session.band_c" else keyed
        return {key: value for key, value in taken.items() if value is not None}

    def _steps(self, kind: str) -> list[dict[str, float]]:
        steps = []
        for part in self._text("session.steps").split(";"):
            minute, _, watts = part.partition(":")
            try:
                steps.append({"minute": number(minute), kind: number(watts)})
            except ValueError as error:
                self.problems["session.steps"] = f"{error} Write steps as 0: 40; 5: 60."
        return steps

    def field_of(self, key: str) -> str:
        """The field of the form that a key of the case file is about."""
        if found := re.fullmatch(r"panel\[(\d+)\]\.(\w+)", key):
            return f"p{self.panels[int(found[1])]}.{found[2]}"
        if key.startswith("panel"):
            return f"p{self.panels[0]}.{key.partition('.')[2] or 'name'}"
        if found := re.match(r"region\.(levels|girth|fat)_mm(?:\[(\d+)\])?(?:\.(\w+))?", key):
            row = self.levels[int(found[2] or 0)]
            if found[1] == "fat" and not found[2]:
                row = next((n for n in self.levels if self._text(f"level{n}.front")), row)
            column = {"levels": "level", "girth": "girth"}.get(found[1]) or found[3] or "front"
            return f"level{row}.{column}"
        if found := re.match(r"session\.(band_c|absorbed_fraction)(?:\[(\d)\]|\.(\w+))?", key):
            names = _PAIRS[f"session.{found[1]}"]
            return next((n for n in names if found[3] and n.endswith(found[3])), names[int(found[2] or 0)])
        if key in ("session.power_w", "session.absorbed_w"):
            return "session.power"
        return "session.steps" if key.startswith("session.steps") else key


def _table(name: str, keys: Mapping[str, Any]) -> str:
    lines = "".join(f"{key} = {_toml(value)}\n" for key, value in keys.items())
    return f"\n[{name}]\n{lines}"


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(part)}" for key, part in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def values_of(case: Case) -> Values:
    """A case as texts; what was left open stays empty."""
    keys, open_keys = file_values(case), left_open(case)
    values: Values = {}
    for key, value in keys.items():
        if key in open_keys and key != "region.levels_mm":
            continue
        values |= _texts(key, value, len(case.measurements.level_m))
    values["session.kind"] = "absorbed_w" if case.session.power_kind == "absorbed" else "power_w"
    return values


def _texts(key: str, value: Any, levels: int) -> Values:
    if found := re.fullmatch(r"panel\[(\d+)\]\.(\w+)", key):
        return {f"p{found[1]}.{found[2]}": shown(value)}
    match key:
        case "region.levels_mm" | "region.girth_mm":
            column = "level" if key.endswith("levels_mm") else "girth"
            return {f"level{n}.{column}": shown(one) for n, one in enumerate(value)}
        case "region.fat_mm":
            rows = value if isinstance(value, list) else [value] * levels
            rows = [row if isinstance(row, dict) else dict.fromkeys(DIRECTIONS, row) for row in rows]
            return {f"level{n}.{d}": shown(row[d]) for n, row in enumerate(rows) for d in DIRECTIONS}
        case "session.power_w" | "session.absorbed_w":
            return {"session.power": shown(value)}
        case "session.steps":
            pairs = [(step["minute"], next(v for k, v in step.items() if k != "minute")) for step in value]
            return {"session.steps": "; ".join(f"{shown(m)}: {shown(w)}" for m, w in pairs)}
        case "session.band_c":
            return dict(zip(_PAIRS[key], map(shown, value), strict=True))
        case "session.absorbed_fraction":
            return dict(zip(_PAIRS[key], (shown(value[end]) for end in ("low", "mid", "high")), strict=True))
    return {key: shown(value)}


def shown(value: Any) -> str:
    """A value as typed."""
    return f"{value:.6g}" if isinstance(value, float | int) else str(value)


def stand_in(name: str, kind: RegionKind) -> str:
    """What stands in where this field is left empty, with label and source; "" where nothing can."""
    if name == "session.minutes":  # a case file may leave it out; a plan of the clinic must say it
        return ""
    key = re.sub(r"^p\d\.", "panel.", name)
    for pair, names in _PAIRS.items():
        if name in names:
            key = pair
    try:
        found = default(key, kind)
    except KeyError:
        return ""
    value = found.value
    if key in _PAIRS:
        parts = list(value.values()) if isinstance(value, dict) else list(value)  # type: ignore[call-overload]
        value = parts[_PAIRS[key].index(name)]
    return f"Left open: {shown(value).replace('_', ' ')} [{found.label}] {found.source}"
