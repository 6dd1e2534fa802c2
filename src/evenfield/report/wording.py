"""What a forecast says, in numbers with their words: the source of the terminal's and the report's text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees

import numpy as np

from evenfield.applicator.words import panel_words, sides
from evenfield.case import Case, PowerKind, assumptions, tissue_assumptions
from evenfield.dose import crossing
from evenfield.forecast import ExpectedTuning, Forecast
from evenfield.forecast.engine import words_for
from evenfield.report.in_time import under_each_panel
from evenfield.tissue import load_tissue_set

SHOW_BURN_ABOVE = 0.01
"""Cautious bound of the burn integral above which it is mentioned."""
UNCALIBRATED = "assumed until the device is calibrated"


@dataclass(frozen=True)
class Finding:
    """One line: what, the value, the same over the assumed range of the absorbed fraction, and what must be
    known to read it."""

    what: str
    value: str
    assumed_range: str = ""
    detail: str = ""


@dataclass(frozen=True)
class Hottest:
    """The hottest point of a tissue over the whole session: when, where in words, and over the assumed
    range."""

    temperature_c: float
    minute: float
    place: str
    range_c: tuple[float, float] | None

    @property
    def when(self) -> str:
        """at 30 min."""
        return f"at {minute_text(self.minute)}"


def hottest(f: Forecast, tissue: str) -> Hottest:
    """The hottest point of skin or fat at any output time, with its place."""
    series = f.peak_series_c[tissue]
    n = int(np.argmax(series))
    cells = f.field.grid.cells_of(tissue)
    values = f.history.temperature_c[n][:, :, cells.start : cells.stop + 1]
    k, j, i = np.unravel_index(int(np.argmax(values)), values.shape)
    x, y, z = (float(a) for a in f.field.grid.nodes[:, k, j, cells.start + int(i)])
    ends = None
    if f.band is not None:
        ends = float(f.band.peak_c[tissue][0].max()), float(f.band.peak_c[tissue][2].max())
    return Hottest(float(series[n]), float(f.minutes[n]), words_for(f.case, (x, y, z), tissue), ends)


def shares(f: Forecast) -> list[tuple[str, float]]:
    """Tissues and their shares of absorbed power, the largest first."""
    return sorted(f.field.share.items(), key=lambda item: -item[1])


def spot_list(f: Forecast, tissue: str) -> list[str]:
    """The numbered hot spots of a tissue at the pictures' time: temperature and place."""
    return [
        f"{s.temperature_c:.1f} °C, {s.place.removesuffix(f', {tissue}')}"
        for s in f.hottest
        if s.tissue == tissue
    ]


def spot_words(f: Forecast, tissue: str) -> str:
    """The same as one sentence."""
    told = "; ".join(f"{n}: {words}" for n, words in enumerate(spot_list(f, tissue), 1))
    return f"Hot spots in {tissue}: {told}."


def findings(f: Forecast) -> list[Finding]:
    """What the forecast says, the most needed first."""
    out = [_hottest_line(f, "fat"), _hottest_line(f, "skin")]
    if burn := _burn_line(f):
        out.append(burn)
    out += _band_lines(f)
    out.append(
        Finding(
            "Evenness",
            f"{f.evenness.ratio:.2f}",
            "",
            "of fat heating under the panels; 1 is all alike",
        )
    )
    out.append(_absorbed_line(f))
    out.append(Finding("Tuning to expect", f"{f.tuning.percent:.0f} %", "", tuning_words(f.tuning)))
    return out


def _hottest_line(f: Forecast, tissue: str) -> Finding:
    spot = hottest(f, tissue)
    return Finding(
        f"Hottest in {tissue}",
        f"{spot.temperature_c:.1f} °C",
        "" if spot.range_c is None else "{:.1f} to {:.1f} °C".format(*spot.range_c),
        f"{spot.when}, {spot.place.removesuffix(f', {tissue}')}",
    )


def _band_lines(f: Forecast) -> list[Finding]:
    low, high = f.case.session.band_c
    lines = []
    for one in under_each_panel(f, "fat"):
        ends = [] if one.low_c is None or one.high_c is None else [one.high_c, one.low_c]
        enters = [crossing(f.minutes, run, low) for run in (one.mean_c, *ends)]
        above = [crossing(f.minutes, run, high) for run in (one.mean_c, *ends)]
        reaches = f"{low:g} °C " + ("not reached" if enters[0] is None else f"after {minute_text(enters[0])}")
        detail = f"{_above(high, above)}; highest {one.mean_c.max():.1f} °C"
        lines.append(Finding(f"Mean of fat, {panel_words(one.panel)}", reaches, _times(enters), detail))
    return lines


def _times(times: list[float | None]) -> str:
    """Minutes at the hot and at the cool end of the assumed range: 5.9 to 18 min, 16 min to never."""
    if len(times) < 3:
        return ""
    first, last = ("never" if t is None else minute_text(t) for t in times[1:])
    if first == last:
        return first
    return f"{first.removesuffix(' min') if last != 'never' else first} to {last}"


def _above(level_c: float, times: list[float | None]) -> str:
    span = _times(times)
    if times[0] is not None:
        text = f"above {level_c:g} °C after {minute_text(times[0])}"
        return f"{text} ({span})" if span else text
    text = f"stays below {level_c:g} °C"
    return text if span in ("", "never") else f"{text} (hot end: above from {minute_text(times[1] or 0.0)})"


def _absorbed_line(f: Forecast) -> Finding:
    session = f.case.session
    if session.power_kind is PowerKind.ABSORBED:
        return Finding("Absorbed power", f"{_watts(session.power.watts)} W", "", "as given in the case")
    a = session.absorbed_fraction
    return Finding(
        "Absorbed share of power",
        f"{a.mid:g}",
        f"{a.low:g} to {a.high:g}",
        f"{UNCALIBRATED}; gives all ranges",
    )


def tuning_words(tuning: ExpectedTuning) -> str:
    """How the tuning was come by, short enough for its line."""
    return "generic circuit, not calibrated; cables spread" if tuning.generic else tuning.profile


def _burn_line(f: Forecast) -> Finding | None:
    """Only where it says something, and then with care."""
    worst = max((z for z in f.zones if z.zone.tissue == "skin"), key=lambda z: z.burn_cautious, default=None)
    if worst is None or worst.burn_cautious <= SHOW_BURN_ABOVE:
        return None
    meaning = "1 stands for a burn of the outer skin, less is no assurance"
    if worst.burn_cautious >= 1.0:
        meaning = "1 stands for a burn of the outer skin: this plan may burn"
    return Finding(
        "Burn integral of skin",
        f"{worst.burn:.2g} to {worst.burn_cautious:.2g}",
        "",
        f"estimate to cautious bound, {panel_words(worst.zone.panel)}, {worst.zone.name}; {meaning}",
    )


def assumption_lines(f: Forecast) -> list[str]:
    """What nobody gave, one line for all keys that share value and source."""
    lines: dict[str, list[str]] = {}
    for one in (*assumptions(f.case), *tissue_assumptions(f.case)):
        lines.setdefault(str(one).removeprefix(one.key), []).append(one.key)
    return [", ".join(keys) + rest for rest, keys in lines.items()]


def body_lines(case: Case) -> list[str]:
    """What the body is built from, as measured or assumed: girth and fat at each level, in mm."""
    m = case.measurements
    several = len(m.level_m) > 1
    girth = f"Girth {_mm(m.girth_m)} mm" + (f" at levels {_mm(m.level_m)} mm" if several else "")
    names = sides(m.kind.trunk)
    if len({fat for row in m.fat_m for fat in row}) == 1:
        return [girth, f"Fat {_mm(m.fat_m[0][:1])} mm all round"]
    alike = len(set(m.fat_m)) == 1
    parts = (
        f"{name} {_mm(column[:1] if alike else column)}"
        for name, column in zip(names, zip(*m.fat_m, strict=True), strict=True)
    )
    return [girth, f"Fat {'; '.join(parts) if not alike else ', '.join(parts)} mm"]


def _mm(metres: Sequence[float]) -> str:
    return ", ".join(f"{1e3 * x:.10g}" for x in metres)


def placement_lines(case: Case) -> list[str]:
    """One line for each panel: shape, size, place, gap, tilts, drive."""
    lines = []
    for placed in case.placed:
        p = placed.panel
        tilts = "parallel"
        if p.tilt_across_rad or p.tilt_along_rad:
            tilts = f"tilt {degrees(p.tilt_across_rad):g}° across, {degrees(p.tilt_along_rad):g}° along"
        lines.append(
            f"{panel_words(p.name).capitalize()}: {p.shape.value}, "
            f"{1e3 * p.width_m:g} × {1e3 * p.length_m:g} mm, at {degrees(p.angle_rad):g}°, "
            f"level {1e3 * p.level_m:g} mm, gap {1e3 * p.gap_m:g} mm "
            f"(least {1e3 * placed.nearest_gap_m:.1f} mm), {tilts}, drive {p.drive:+g}"
        )
    return lines


def setting_line(case: Case) -> str:
    """Region, fat kind, power and time in one line."""
    m, session = case.measurements, case.session
    region = m.kind.value.replace("_", " ").capitalize()
    side = f", {m.side}" if m.side else ""
    kind = "set power" if session.power_kind is PowerKind.SET else "absorbed power"
    steps = " with pauses" if 0.0 in session.power.watts[1:] else ""
    after = f", then {session.after_s / 60:g} min without" if session.after_s else ""
    return (
        f"{region}{side} · fat kind: {fat_kind_words(case)} · {_watts(session.power.watts)} W {kind}{steps} "
        f"for {session.power.end_s / 60:g} min{after}"
    )


def basis_lines(case: Case) -> list[str]:
    """What temperatures rest on: the power that the tissue takes up, the fat kind, the tissue values."""
    return [power_line(case), f"Fat: {fat_kind_words(case)}.", tissue_line(case)]


def tissue_line(case: Case) -> str:
    """Title and name of the tissue set, so that a clinic sees whether its own one was used."""
    used = load_tissue_set(case.tissue_set)
    return f"Tissue values: {used.title} ({used.name})"


def power_line(case: Case) -> str:
    """The power that the tissue takes up, and whether its share of the set power is assumed."""
    session = case.session
    taken = _watts(session.absorbed()[1].watts)
    if session.power_kind is PowerKind.ABSORBED:
        return f"At {taken} W absorbed, as given."
    share = session.absorbed_fraction
    open_key = "session.absorbed_fraction" in {a.key for a in assumptions(case)}
    how = UNCALIBRATED if open_key else "as given"
    return (
        f"At {taken} W absorbed: {share.mid:g} of {_watts(session.power.watts)} W set, {how}; "
        f"{share.low:g} to {share.high:g} possible."
    )


def fat_kind_words(case: Case) -> str:
    """The fat kind as said: average infiltrated, not infiltrated."""
    return case.fat_kind.value.replace("_", " ")


def minute_text(minute: float) -> str:
    """Whole minutes, below ten with one decimal where it says more."""
    return (
        f"{minute:.1f} min" if minute < 9.95 and abs(minute - round(minute)) > 0.05 else f"{minute:.0f} min"
    )


def _watts(watts: tuple[float, ...]) -> str:
    """60; 50 to 80, pauses left out."""
    on = [w for w in watts if w > 0.0] or [0.0]
    return f"{on[0]:g}" if min(on) == max(on) else f"{min(on):g} to {max(on):g}"
