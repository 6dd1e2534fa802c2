"""From a case file to a checked case in SI units, or one clear sentence.

The most basic fault is told first: the file, its TOML, unknown keys, missing keys, types, lists that do not
match, values out of range, layers that do not fit, and last the placement.
"""

import tomllib
from itertools import pairwise
from math import radians
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from evenfield.applicator import Panel, PanelShape, check_placement
from evenfield.body import InputError, Measurements, RegionKind
from evenfield.case import defaults, schema
from evenfield.case.fat import fat_rows
from evenfield.case.limits import LEVEL_SPAN, LIMITS, bone_limit, girth_limit
from evenfield.case.model import AbsorbedFraction, Assumption, Case, CaseError, PowerKind, Session, seconds
from evenfield.case.sentence import toml_error, type_error
from evenfield.heat.power import PowerCurve
from evenfield.heat.room import Room
from evenfield.tissue import SHIPPED, FatKind, TissueError, load_tissue_set

_LONGEST_TITLE, _LONGEST_NAME = 120, 40


def read_case(path: str | Path) -> Case:
    """Read and check a case file. Raises CaseError with one clear sentence that begins with the path."""
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise CaseError("there is no such file", key="", allowed="a case file", where=str(path)) from None
    except UnicodeDecodeError as error:
        raise CaseError(
            f"this is not text in UTF-8 (byte {error.start + 1}); save the file as UTF-8",
            key="",
            allowed="UTF-8",
            where=str(path),
        ) from None
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise CaseError(
            f"the file cannot be read: {reason}", key="", allowed="a readable file", where=str(path)
        ) from None
    return case_from_toml(text, str(path), folder=path.parent)


def case_from_toml(text: str, where: str = "", *, folder: Path | None = None) -> Case:
    """Check the text of a case file. `where` names it in the sentence of a CaseError.

    `folder` is where the path of a tissue set starts; without it only the shipped sets can be named.
    """
    try:
        try:
            document = schema.CaseFile.model_validate(tomllib.loads(text))
        except tomllib.TOMLDecodeError as error:
            raise toml_error(error) from None
        except ValidationError as error:
            raise type_error(error) from None
        return _Builder(document, folder).build()
    except InputError as error:
        sentence = error.sentence if isinstance(error, CaseError) else str(error)
        raise CaseError(
            sentence, key=error.key, value=error.value, allowed=error.allowed, where=where
        ) from error.__cause__


class _Builder:
    """Fills in what was left out, notes it, checks ranges, and converts to SI."""

    def __init__(self, document: schema.CaseFile, folder: Path | None) -> None:
        self.document = document
        self.folder = folder
        self.kind = RegionKind(document.region.kind)
        self.noted: list[Assumption] = []

    def build(self) -> Case:
        d = self.document
        if not d.panel:
            raise CaseError("panel is empty: write at least one [[panel]]", key="panel", allowed="[[panel]]")
        measurements = self._measurements(d.region)
        fat_kind = FatKind(self._taken("region.fat", d.region.fat))
        room = self._room(d.room)
        panels = tuple(self._panel(index, panel) for index, panel in enumerate(d.panel))
        self._refuse_equal_names(panels)
        session = self._session(d.session)
        title = _line("title", self._taken("title", d.title), _LONGEST_TITLE)
        case = Case(
            title, measurements, fat_kind, self._tissue_set(), room, panels, session, tuple(self.noted)
        )
        check_placement(case.region, case.placed)
        return case

    def _taken(self, key: str, given: Any, index: int | None = None) -> Any:
        """The value given, or the default, which is then noted."""
        return self._or(given, defaults.default(key, self.kind, index)) if given is None else given

    def _or(self, given: Any, stand_in: Assumption) -> Any:
        if given is not None:
            return given
        self.noted.append(stand_in)
        return stand_in.value

    def _number(self, key: str, given: float | None, index: int | None = None) -> float:
        """A checked number in the file's units."""
        if given is not None:
            LIMITS[key].check(key if index is None else key.replace("panel.", f"panel[{index}]."), given)
        return float(self._taken(key, given, index))

    def _measurements(self, r: schema.RegionSection) -> Measurements:
        girth = r.girth_mm
        if not girth:
            raise CaseError(
                "region.girth_mm is empty: give the measured girth at each level in mm",
                key="region.girth_mm",
                value=girth,
                allowed="one girth per level",
            )
        levels = self._or(r.levels_mm, defaults.levels(len(girth)))
        if len(levels) != len(girth):
            raise CaseError(
                f"region.girth_mm has {len(girth)} values but region.levels_mm has {len(levels)}; "
                "allowed: one girth per level",
                key="region.girth_mm",
                value=girth,
                allowed=f"{len(levels)} values",
            )
        for index, value in enumerate(girth):
            girth_limit(self.kind).check(f"region.girth_mm[{index}]", value)
        for index, value in enumerate(levels):
            LIMITS["region.levels_mm"].check(f"region.levels_mm[{index}]", value)
        if any(b <= a for a, b in pairwise(levels)):
            raise CaseError(
                f"region.levels_mm = {[float(f'{v:g}') for v in levels]}: levels must ascend, each only once",
                key="region.levels_mm",
                value=levels,
                allowed="ascending levels",
            )
        if len(levels) > 1:
            LEVEL_SPAN.check("region.levels_mm from first to last", levels[-1] - levels[0])
        fat = fat_rows(self._taken("region.fat_mm", r.fat_mm), len(levels), self.kind)
        bone, wall = self._bone_and_wall(r)
        return Measurements(
            kind=self.kind,
            level_m=tuple(v / 1000 for v in levels),
            girth_m=tuple(v / 1000 for v in girth),
            width_to_depth=self._number("region.width_to_depth", r.width_to_depth),
            fat_m=tuple((a / 1000, b / 1000, c / 1000, d / 1000) for a, b, c, d in fat),
            skin_m=self._number("region.skin_mm", r.skin_mm) / 1000,
            bone_radius_m=bone / 1000,
            wall_m=wall / 1000,
            side=r.side,
        )

    def _bone_and_wall(self, r: schema.RegionSection) -> tuple[float, float]:
        """Bone radius and muscle wall in mm; the one this kind of region does not have is its default."""
        unused = "region.bone_radius_mm" if self.kind.trunk else "region.wall_mm"
        given = {"region.bone_radius_mm": r.bone_radius_mm, "region.wall_mm": r.wall_mm}
        if given[unused] is not None:
            kinds = ", ".join(kind for kind in RegionKind if kind.trunk is not self.kind.trunk)
            raise CaseError(
                f"{unused} = {given[unused]:g}: there is none on {self.kind}; allowed only on {kinds}",
                key=unused,
                value=given[unused],
                allowed=f"only on {kinds}",
            )
        sizes = {unused: float(str(defaults.default(unused, self.kind).value))}
        for key in given.keys() - {unused}:
            value = float(self._taken(key, given[key]))
            limit = bone_limit(self.kind) if key == "region.bone_radius_mm" else LIMITS[key]
            limit.check(key, value)
            sizes[key] = value
        return sizes["region.bone_radius_mm"], sizes["region.wall_mm"]

    def _room(self, r: schema.RoomSection) -> Room:
        return Room(
            air_c=self._number("room.air_c", r.air_c),
            air_speed_m_s=self._number("room.air_speed_m_s", r.air_speed_m_s),
            relative_humidity=self._number("room.humidity", r.humidity),
            wettedness=self._number("room.wettedness", r.wettedness),
            drape_clo=self._number("room.drape_clo", r.drape_clo),
        )

    def _panel(self, index: int, p: schema.PanelSection) -> Panel:
        name = self._or(p.name, defaults.panel_name(index))
        return Panel(
            name=_line(f"panel[{index}].name", name, _LONGEST_NAME),
            shape=PanelShape(self._taken("panel.shape", p.shape, index)),
            angle_rad=radians(self._number("panel.angle_deg", p.angle_deg, index)),
            level_m=self._number("panel.level_mm", p.level_mm, index) / 1000,
            width_m=self._number("panel.width_mm", p.width_mm, index) / 1000,
            length_m=self._number("panel.length_mm", p.length_mm, index) / 1000,
            gap_m=self._number("panel.gap_mm", p.gap_mm, index) / 1000,
            tilt_across_rad=radians(self._number("panel.tilt_across_deg", p.tilt_across_deg, index)),
            tilt_along_rad=radians(self._number("panel.tilt_along_deg", p.tilt_along_deg, index)),
            drive=self._number("panel.drive", p.drive, index),
        )

    def _refuse_equal_names(self, panels: tuple[Panel, ...]) -> None:
        names = [panel.name for panel in panels]
        for index, name in enumerate(names):
            if name in names[:index]:
                raise CaseError(
                    f'panel[{index}].name = "{name}": another panel has this name; each is allowed once',
                    key=f"panel[{index}].name",
                    value=name,
                    allowed="each name only once",
                )

    def _session(self, s: schema.SessionSection) -> Session:
        minutes = self._number("session.minutes", s.minutes)
        kind, curve = self._power(s, minutes)
        after = self._number("session.after_minutes", s.after_minutes)
        picture = float(self._or(s.picture_minute, defaults.picture(minutes)))
        if not 0 <= picture <= minutes + after:
            raise CaseError(
                f"session.picture_minute = {picture:g}: lies outside the session; allowed from 0 to "
                f"{minutes + after:g} (minutes and after_minutes)",
                key="session.picture_minute",
                value=picture,
                allowed=f"from 0 to {minutes + after:g}",
            )
        return Session(
            power=curve,
            power_kind=kind,
            absorbed_fraction=self._fraction(s),
            after_s=seconds(after),
            band_c=self._band(s),
            picture_s=seconds(picture),
            baseline_c=self._number("session.baseline_c", s.baseline_c),
        )

    def _power(self, s: schema.SessionSection, minutes: float) -> tuple[PowerKind, PowerCurve]:
        given = [key for key in ("power_w", "absorbed_w", "steps") if getattr(s, key) is not None]
        if len(given) > 1:
            raise CaseError(
                f"session.{given[0]} and session.{given[1]} are both given; allowed: one of power_w "
                "(what the device shows), absorbed_w (what the tissue takes up) and steps",
                key=f"session.{given[1]}",
                value=getattr(s, given[1]),
                allowed="one of power_w, absorbed_w and steps",
            )
        if s.steps is not None:
            return self._steps(s.steps, minutes)
        if s.absorbed_w is not None:
            watts = self._number("session.absorbed_w", s.absorbed_w)
            return PowerKind.ABSORBED, PowerCurve.constant(watts, seconds(minutes))
        watts = self._number("session.power_w", s.power_w)
        return PowerKind.SET, PowerCurve.constant(watts, seconds(minutes))

    def _steps(self, steps: list[schema.StepTable], minutes: float) -> tuple[PowerKind, PowerCurve]:
        if not steps:
            raise CaseError(
                "session.steps is empty: give at least { minute = 0, power_w = .. }",
                key="session.steps",
                value=[],
                allowed="at least one step",
            )
        watts, kinds, previous = [], set(), -1.0
        for index, step in enumerate(steps):
            key = f"session.steps[{index}]"
            if (step.power_w is None) == (step.absorbed_w is None):
                raise CaseError(
                    f"{key}: give either power_w or absorbed_w", key=key, allowed="power_w or absorbed_w"
                )
            name = "power_w" if step.power_w is not None else "absorbed_w"
            value = step.power_w if step.power_w is not None else step.absorbed_w
            assert value is not None
            LIMITS[f"session.{name}"].check(f"{key}.{name}", value)
            kinds.add(PowerKind.SET if name == "power_w" else PowerKind.ABSORBED)
            watts.append(value)
            allowed = "0" if index == 0 else f"above {previous:g} and below {minutes:g} (session.minutes)"
            if (index == 0 and step.minute != 0) or not previous < step.minute < minutes:
                raise CaseError(
                    f"{key}.minute = {step.minute:g}: steps begin at 0 and follow in time; "
                    f"allowed here: {allowed}",
                    key=f"{key}.minute",
                    value=step.minute,
                    allowed=allowed,
                )
            previous = step.minute
        if len(kinds) > 1:
            raise CaseError(
                "session.steps mixes power_w and absorbed_w; allowed: the same one in every step",
                key="session.steps",
                allowed="the same in every step",
            )
        return kinds.pop(), PowerCurve(
            tuple(seconds(step.minute) for step in steps), tuple(watts), seconds(minutes)
        )

    def _fraction(self, s: schema.SessionSection) -> AbsorbedFraction:
        if s.absorbed_fraction is None:
            value = self._taken("session.absorbed_fraction", None)
            return AbsorbedFraction(value["low"], value["mid"], value["high"])
        f = s.absorbed_fraction
        for name in ("low", "mid", "high"):
            LIMITS["session.absorbed_fraction"].check(f"session.absorbed_fraction.{name}", getattr(f, name))
        if not f.low <= f.mid <= f.high:
            raise CaseError(
                f"session.absorbed_fraction = {f.low:g}, {f.mid:g}, {f.high:g}: "
                "allowed is low <= mid <= high",
                key="session.absorbed_fraction",
                value=(f.low, f.mid, f.high),
                allowed="low <= mid <= high",
            )
        return AbsorbedFraction(f.low, f.mid, f.high)

    def _band(self, s: schema.SessionSection) -> tuple[float, float]:
        band = self._taken("session.band_c", s.band_c)
        if len(band) != 2:
            raise CaseError(
                f"session.band_c has {len(band)} values; "
                "allowed: two, the lowest and the highest temperature in °C",
                key="session.band_c",
                value=band,
                allowed="two values",
            )
        for index, value in enumerate(band):
            LIMITS["session.band_c"].check(f"session.band_c[{index}]", value)
        low, high = band
        if low >= high:
            raise CaseError(
                f"session.band_c = [{low:g}, {high:g}]: the first must be lower than the second",
                key="session.band_c",
                value=band,
                allowed="first lower than second",
            )
        return float(low), float(high)

    def _tissue_set(self) -> str:
        """The name of a shipped set, or the full path of a file; read once to find its faults now."""
        name = str(self._taken("tissue.set", self.document.tissue.set))
        if name not in SHIPPED:
            if self.folder is None:
                allowed = ", ".join(SHIPPED)
                raise CaseError(
                    f'tissue.set = "{name}": allowed here: {allowed}',
                    key="tissue.set",
                    value=name,
                    allowed=allowed,
                )
            name = str((self.folder / name).resolve())
        try:
            load_tissue_set(name)
        except TissueError as error:
            raise CaseError(
                f"tissue.set: {error}", key="tissue.set", value=name, allowed=", ".join(SHIPPED)
            ) from None
        return name


def _line(key: str, text: str, longest: int) -> str:
    """One line of printable text."""
    if not text.strip() or len(text) > longest or not text.isprintable():
        allowed = f"one line of printable text, 1 to {longest} characters"
        raise CaseError(f"{key}: must be {allowed}", key=key, value=text, allowed=allowed)
    return text
