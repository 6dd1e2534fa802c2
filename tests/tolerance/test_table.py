"""The tolerance table on a round, even limb: symmetry, and what practice says of gaps and tilts."""

from pathlib import Path

import pytest

from evenfield.case import Case, case_from_toml, read_case
from evenfield.tolerance import ToleranceTable, tolerance_table, variations

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


def effect(table: ToleranceTable, words: str) -> tuple[float, float, float, float, float]:
    return next(table.change(e) for e in table.effects if e.variation.words == words)


def test_every_usual_error_is_there(case: Case) -> None:
    every = list(variations(case))
    assert len(every) == 2 * (4 + 6 + 6 + 4) + 4
    assert len({(v.panel, v.words) for v in every}) == len(every)


def test_symmetric_placement_has_a_symmetric_table(table: ToleranceTable) -> None:
    up, down = effect(table, "tilt along +8°"), effect(table, "tilt along -8°")
    assert up == pytest.approx(down, abs=0.1)


def test_small_tilts_little_large_tilts_a_hot_near_edge(table: ToleranceTable) -> None:
    """Common practice, no source."""
    small, large = effect(table, "tilt along -2°"), effect(table, "tilt along -8°")
    assert abs(small[0]) < 1.0
    assert large[0] > 3 * abs(small[0])
    assert large[4] < small[4] < 0.005
    where = next(
        e.outcome.where for e in table.effects if e.variation.words == "tilt along -8°" and e.outcome
    )
    assert "upper edge of the front panel" in where


def test_closer_panels_heat_skin_more(table: ToleranceTable) -> None:
    """Common practice, no source. At the same absorbed power; a panel further off leaves more to the other
    one."""
    near, far = effect(table, "gap -5 mm")[0], effect(table, "gap +5 mm")[0]
    assert near > 0.5
    assert near > 2 * far


def test_an_impossible_variation_is_refused_in_words() -> None:
    case = read_case(Path(__file__).parents[2] / "examples" / "thigh.toml")
    wanted = [v for v in variations(case) if v.panel == "back" and v.words == "tilt along -8°"]
    refused = tolerance_table(case, wanted).effects[0]
    assert refused.outcome is None
    assert "tilt" in refused.refused
