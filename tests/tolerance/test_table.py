"""The tolerance table on a round, even limb: symmetry, and what practice says of gaps and tilts."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from evenfield.case import Case, case_from_toml, read_case
from evenfield.field import solve_field
from evenfield.forecast.engine import setting_of
from evenfield.tolerance import (
    Difference,
    Effect,
    PlacementOutcome,
    ToleranceTable,
    Variation,
    tolerance_table,
    variations,
    what_to_watch,
)
from evenfield.tolerance.outcome import bent, table_layout
from evenfield.tolerance.words import kelvin, within

CASE = """
title = "Round thigh of an invented client"
[region]
kind = "thigh"
levels_mm = [-120, 120]
girth_mm = [600, 600]
fat_mm = 20
[[panel]]
name = "front"
angle_deg = 0
width_mm = 100
length_mm = 150
gap_mm = 15
drive = 1
[[panel]]
name = "back"
angle_deg = 180
width_mm = 100
length_mm = 150
gap_mm = 15
drive = -1
[session]
absorbed_w = 40
minutes = 30
"""
WANTED = ("tilt along -2°", "tilt along -8°", "tilt along +8°", "gap -5 mm", "gap +5 mm")


@pytest.fixture(scope="module")
def case() -> Case:
    return case_from_toml(CASE)


@pytest.fixture(scope="module")
def table(case: Case) -> ToleranceTable:
    return tolerance_table(case, [v for v in variations(case) if v.panel == "front" and v.words in WANTED])


def effect(table: ToleranceTable, words: str) -> Difference:
    return next(table.change(e) for e in table.effects if e.variation.words == words)


def test_every_usual_error_is_there(case: Case) -> None:
    every = list(variations(case))
    assert len(every) == 2 * (4 + 6 + 6 + 4) + 4
    assert len({(v.panel, v.words) for v in every}) == len(every)


def test_symmetric_placement_has_a_symmetric_table(table: ToleranceTable) -> None:
    up, down = effect(table, "tilt along +8°"), effect(table, "tilt along -8°")
    assert up.skin_k == pytest.approx(down.skin_k, abs=0.1)
    assert up.fat_k == pytest.approx(down.fat_k, abs=0.1)
    assert up.evenness == pytest.approx(down.evenness, abs=0.02)
    assert up.tuning == pytest.approx(down.tuning, abs=0.2)


def test_small_tilts_little_large_tilts_a_hot_near_edge(table: ToleranceTable) -> None:
    """Common practice, no source."""
    small, large = effect(table, "tilt along -2°"), effect(table, "tilt along -8°")
    assert abs(small.skin_k[1]) < 1.0
    assert large.skin_k[1] > 3 * abs(small.skin_k[1])
    assert large.evenness < small.evenness < 0.005
    outcomes = {e.variation.words: e.outcome for e in table.effects}
    tilted = outcomes["tilt along -8°"]
    assert tilted is not None
    assert "upper edge of the front panel" in tilted.where


def test_closer_panels_heat_skin_more(table: ToleranceTable) -> None:
    """Common practice, no source. At the same absorbed power; a panel further off leaves more to the other
    one."""
    near, far = effect(table, "gap -5 mm").skin_k[1], effect(table, "gap +5 mm").skin_k[1]
    assert near > 0.5
    assert near > 1.5 * far


def test_tuning_falls_when_a_panel_is_further_off(table: ToleranceTable) -> None:
    """Common practice, no source."""
    assert effect(table, "gap -5 mm").tuning > 1.0
    assert effect(table, "gap +5 mm").tuning < -1.0


def test_a_larger_gap_never_makes_skin_hotter_relative_to_fat(case: Case) -> None:
    """At the same absorbed power, in heating: both by the hottest point and by the shares of power."""
    setting, layout = setting_of(case), table_layout(case)
    hottest, shares = [], []
    for mm in (4.0, 8.0, 15.0, 30.0):
        other = case.with_panel("front", gap_m=mm * 1e-3).with_panel("back", gap_m=mm * 1e-3)
        field = solve_field(bent(other, layout), setting.materials, [1.0, -1.0], residual=1e-5)
        skin, fat = (field.heating[:, :, field.grid.cells_of(t)].max() for t in ("skin", "fat"))
        hottest.append(skin / fat)
        shares.append(field.share["skin"] / field.share["fat"])
    assert hottest == sorted(hottest, reverse=True)
    assert shares == sorted(shares, reverse=True)
    assert hottest[0] > 2 * hottest[-1], "close panels heat skin (common practice, no source)"


def test_the_band_is_reached_between_the_minutes(table: ToleranceTable, case: Case) -> None:
    """The time lies where the mean of fat, linear between minutes, has the band's lower end."""
    base = table.base
    assert base.minutes_to_band % 1.0 != 0.0
    assert base.at(base.fat_mean_c, base.minutes_to_band) == pytest.approx(case.session.band_c[0], abs=1e-6)


def test_what_to_watch_names_the_tilt_first(table: ToleranceTable) -> None:
    lines = what_to_watch(table)
    assert lines[0].startswith("Tilt along, front panel: hottest skin")
    assert " at 8° after 30 min" in lines[0], "either sign does the same here"
    assert not any("-0.0" in line or "+0.0" in line for line in lines)


def test_a_signed_nothing_has_no_sign() -> None:
    assert [kelvin(k) for k in (-0.04, 0.04, 0.05, -0.3)] == ["0.0 K", "0.0 K", "+0.1 K", "-0.3 K"]


def test_a_bound_is_rounded_up() -> None:
    assert [within(k, 1) for k in (0.01, 0.11, 0.2)] == ["± 0.1", "± 0.2", "± 0.2"]
    assert within(0.0001, 2) == "± 0.01"


def test_an_impossible_variation_is_refused_in_words() -> None:
    case = read_case(Path(__file__).parents[2] / "examples" / "thigh.toml")
    wanted = [v for v in variations(case) if v.panel == "back" and v.words == "tilt along -8°"]
    refused = tolerance_table(case, wanted).effects[0]
    assert refused.outcome is None
    assert refused.refused.startswith("panel[1].tilt_along_deg = -8")
    assert refused.reason.startswith("this tilt brings the panel's upper edge")
    assert not set(";()") & set(refused.reason)


def test_an_error_past_the_measured_levels_is_answered_and_said(case: Case) -> None:
    """Beyond the outermost level the section is held, so on an even limb it makes no difference."""
    wanted = "+20 mm along"

    def shifted(levels_mm: str) -> tuple[Effect, ToleranceTable]:
        asked = case_from_toml(CASE.replace("[-120, 120]", levels_mm))
        table = tolerance_table(
            asked, [v for v in variations(asked) if (v.panel, v.words) == ("front", wanted)]
        )
        return table.effects[0], table

    (short, one), (long, other) = shifted("[-80, 80]"), shifted("[-120, 120]")
    assert short.note.startswith("past the measured levels")
    assert long.note == ""
    assert one.change(short).skin_k == pytest.approx(other.change(long).skin_k, abs=0.01)


def made_outcome(skin_c: float, where: str = "middle") -> PlacementOutcome:
    flat = np.full(2, skin_c)
    return PlacementOutcome(np.array([0.0, 30.0]), flat, flat, flat, 0.5, 1e-3 + 1e-2j, 80.0, 5.0, where)


def made_table(case: Case, group: str, rises: dict[str, dict[str, float]]) -> ToleranceTable:
    """A table of one kind of error with these rises of the hottest skin, by panel and size."""
    effects = [
        Effect(
            Variation(group, panel, int(size.rstrip("° m")), f"{group} {size}", size, case),
            made_outcome(39.0 + rise, f"edge of the {panel} panel"),
        )
        for panel, sizes in rises.items()
        for size, rise in sizes.items()
    ]
    return ToleranceTable(case, made_outcome(39.0), tuple(effects))


def test_sizes_are_told_in_their_order_even_where_heat_is_not(case: Case) -> None:
    """As on a curved panel, where the middle tilt warms the hottest skin less than the smallest."""
    table = made_table(case, "tilt across", {"back": {"-2°": 0.4, "-5°": 0.2, "-8°": 3.0}})
    assert "+0.4 K at -2°, +0.2 K at -5°, +3.0 K at -8°" in what_to_watch(table)[0]


def said(line: str) -> set[tuple[str, str, float]]:
    """Every panel, signed size and rise that a sentence names; a size without sign is both."""
    found = set()
    for part in line.split("; "):
        names, colon, grades = part.rpartition("panel: ")
        for panel in ("front", "back"):
            for rise, sign, size in re.findall(r"([-+]?[\d.]+) K at ([-+]?)([\d.]+(?: mm|°))", grades):
                if colon and panel in names:
                    found |= {(panel, one + size, float(rise)) for one in ([sign] if sign else "+-")}
    return found


MIRRORED = {
    "front": {"-2°": -0.2, "-5°": -0.5, "-8°": -0.8, "+2°": 0.3, "+5°": 0.7, "+8°": 1.3},
    "back": {"-2°": 0.3, "-5°": 0.7, "-8°": 1.25, "+2°": -0.2, "+5°": -0.5, "+8°": -0.8},
}


@pytest.mark.parametrize(
    ("rises", "panels", "sizes"),
    [
        (MIRRORED, 2, 6),
        ({"front": MIRRORED["front"], "back": MIRRORED["front"]}, 2, 6),
        ({"front": {"-20 mm": 1.5, "+20 mm": -1.2}, "back": {"-20 mm": -1.2, "+20 mm": 1.5}}, 2, 2),
        ({"front": {"-8°": 3.0, "-2°": 0.1, "+8°": 2.9, "+2°": 2.0}}, 1, 2),
        ({"front": {"-8°": 3.0, "+8°": 2.9}, "back": {"-8°": 2.95, "+8°": 0.4}}, 2, 3),
        ({"front": {"-8°": 3.0, "-2°": 1.5}, "back": {"-8°": 3.0, "-2°": 0.2}}, 2, 4),
    ],
)
def test_each_panel_and_sign_named_is_as_in_the_table(
    case: Case, rises: dict[str, dict[str, float]], panels: int, sizes: int
) -> None:
    """Two panels on either side of the front are mirrored: what warms the one's skin cools the other's."""
    table = made_table(case, "tilt across", rises)
    line = what_to_watch(table)[0]
    named = said(line)
    assert (len({panel for panel, _, _ in named}), len(named)) == (panels, sizes), line
    for panel, size, rise in named:
        assert rise == pytest.approx(rises[panel][size], abs=0.15), line
        assert f"edge of the {panel} panel" in line


def test_panels_named_by_number_are_not_called_panel_twice(table: ToleranceTable) -> None:
    renamed = tuple(
        replace(e, variation=replace(e.variation, panel="panel 1" if e.variation.panel else ""))
        for e in table.effects
    )
    told = " ".join(what_to_watch(replace(table, effects=renamed)))
    assert "panel 1: hottest skin" in told
    assert "panel 1 panel" not in told
