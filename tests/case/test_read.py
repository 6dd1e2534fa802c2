"""A good case file becomes a case in SI units, and what it left open is noted."""

from math import pi, radians
from pathlib import Path

import pytest

from evenfield.applicator import Panel, PanelShape
from evenfield.body import RegionKind
from evenfield.case import CaseError, PowerKind, assumptions, case_from_toml, read_case, tissue_assumptions
from evenfield.heat.power import PowerCurve
from evenfield.heat.room import Room
from evenfield.tissue import Label

EXAMPLES = Path(__file__).parents[2] / "examples"
LEAST = """\
[region]
kind = "upper_arm"
girth_mm = [290, 300, 315]
[[panel]]
"""


def test_every_key_in_si() -> None:
    case = case_from_toml(
        """
        title = "Invented"
        [region]
        kind = "thigh"
        side = "left"
        levels_mm = [-100, 100]
        girth_mm = [560, 620]
        width_to_depth = 1.1
        fat_mm = { front = 12, inner = 25, back = 18, outer = 16 }
        skin_mm = 1.8
        bone_radius_mm = 13
        fat = "not_infiltrated"
        [room]
        air_c = 21.5
        air_speed_m_s = 0.4
        humidity = 0.4
        wettedness = 0.1
        drape_clo = 0.5
        [[panel]]
        name = "inner"
        shape = "curved"
        angle_deg = 90
        level_mm = 10
        width_mm = 120
        length_mm = 150
        gap_mm = 14
        tilt_across_deg = 1
        tilt_along_deg = -2
        drive = -0.5
        [session]
        absorbed_w = 35
        minutes = 25
        after_minutes = 5
        band_c = [39, 42]
        picture_minute = 12.5
        baseline_c = 36.6
        absorbed_fraction = { low = 0.4, mid = 0.5, high = 0.6 }
        [tissue]
        set = "constant_flow"
        """
    )
    m = case.measurements
    assert (m.kind, m.side) == (RegionKind.THIGH, "left")
    assert m.level_m == (-0.1, 0.1)
    assert m.girth_m == (0.56, 0.62)
    assert m.fat_m == ((0.012, 0.025, 0.018, 0.016),) * 2
    assert (m.width_to_depth, m.skin_m, m.bone_radius_m) == (1.1, 0.0018, 0.013)
    assert case.fat_kind == "not_infiltrated"
    assert case.room == Room(21.5, 0.4, 0.4, 0.1, 0.5)
    assert case.panels == (
        Panel("inner", PanelShape.CURVED, pi / 2, 0.01, 0.12, 0.15, 0.014, radians(1), radians(-2), -0.5),
    )
    s = case.session
    assert s.power == PowerCurve.constant(35.0, 1500.0)
    assert s.power_kind == "absorbed"
    assert s.absorbed() == (s.power, s.power, s.power)
    assert (s.after_s, s.end_s, s.picture_s, s.baseline_c) == (300, 1800, 750, 36.6)
    assert s.band_c == (39.0, 42.0)
    assert (case.title, case.tissue_set) == ("Invented", "constant_flow")
    assert [a.key for a in assumptions(case)] == ["panel.drive"]


OWN_SET = """
title = "An invented clinic's own values"
extends = "default"
[thermal.fat]
conductivity_w_mk = { value = 0.19, source = "own", label = "A" }
[sources]
own = "Assumption: measured by nobody"
"""


def test_what_a_set_of_tissues_calls_assumed_is_told(tmp_path: Path) -> None:
    """Values with label A of the layers there are: of our own set where skin's flow begins to rise, on the
    trunk how its core is mixed; of a clinic's set what it assumes."""
    arm = case_from_toml(LEAST)
    assert [a.key for a in tissue_assumptions(arm)] == ["skin.flow.set_point"]
    trunk = case_from_toml(LEAST.replace("upper_arm", "abdomen").replace("290, 300, 315", "900"))
    told = {a.key: str(a) for a in tissue_assumptions(trunk)}
    assert set(told) == {
        "skin.flow.set_point", "core.muscle.fraction", "core.fat_average_infiltrated.fraction"
    }  # fmt: skip
    assert told["core.muscle.fraction"].startswith("core.muscle.fraction = 0.6 [A] Assumption: trunk core")
    (tmp_path / "own.toml").write_text(OWN_SET, encoding="utf-8")
    own = case_from_toml(f'{LEAST}\n[tissue]\nset = "own.toml"', folder=tmp_path)
    assert "fat.conductivity_w_mk = 0.19 W/(m K) [A] Assumption: measured by nobody" in map(
        str, tissue_assumptions(own)
    )


def test_the_least_a_case_can_say() -> None:
    case = case_from_toml(LEAST)
    noted = {a.key: a for a in assumptions(case)}
    assert case.measurements.level_m == (-0.08, 0.0, 0.08)
    assert case.panels[0].name == "panel 1"
    assert case.session.picture_s == case.session.power.end_s == 1800
    assert case.session.absorbed_fraction.mid == 0.55
    absorbed = [curve.watts[0] for curve in case.session.absorbed()]
    assert absorbed == pytest.approx([60 * 0.35, 60 * 0.55, 60 * 0.75])
    for key in (
        "region.fat_mm",
        "region.fat",
        "panel[0].gap_mm",
        "session.band_c",
        "session.absorbed_fraction",
    ):
        assert noted[key].label is Label.A
    assert noted["region.bone_radius_mm"].label is Label.M
    assert str(noted["session.band_c"]) == (
        "session.band_c = 39, 42 [A] stands in until the clinic sets its own band"
    )
    assert "surroundings carry the current back" in noted["panel.drive"].source
    assert "region.wall_mm" not in noted  # a limb has none


@pytest.mark.parametrize("kind", list(RegionKind))
@pytest.mark.parametrize("levels", [1, 2, 3, 5])
def test_defaults_make_a_good_case_on_every_kind(kind: RegionKind, levels: int) -> None:
    girth = {"abdomen": 900, "flank": 900, "thigh": 580, "above_knee": 400, "upper_arm": 310, "calf": 370}[
        kind
    ]
    case = case_from_toml(f'[region]\nkind = "{kind}"\ngirth_mm = {[girth] * levels}\n[[panel]]\n')
    assert len(case.measurements.fat_m) == levels
    assert case.region.layers[0] == ("core" if kind.trunk else "bone")
    keys = [a.key for a in assumptions(case)]
    assert ("region.girth_mm" in keys) == (levels == 1)
    assert ("region.wall_mm" in keys) == kind.trunk


@pytest.mark.parametrize(
    ("fat", "rows"),
    [
        ("12", [(12, 12, 12, 12)] * 3),
        ("{ front = 28, left = 20, back = 16, right = 18 }", [(28, 20, 16, 18)] * 3),
        ("{ front = 28, inner = 20, back = 16, outer = 18 }", [(28, 20, 16, 18)] * 3),
        ("[20, 22.5, 24]", [(20,) * 4, (22.5,) * 4, (24,) * 4]),
        (
            "[20, { front = 28, left = 20, back = 16, outer = 18 }, 24]",
            [(20,) * 4, (28, 20, 16, 18), (24,) * 4],
        ),
    ],
)
def test_forms_of_fat(fat: str, rows: list[tuple[float, ...]]) -> None:
    text = LEAST.replace("upper_arm", "abdomen").replace("[290, 300, 315]", "[880, 900, 930]")
    case = case_from_toml(text.replace("[[panel]]", f"fat_mm = {fat}\n[[panel]]"))
    assert case.measurements.fat_m == tuple(tuple(v / 1000 for v in row) for row in rows)


def test_one_direction_may_be_named_only_once() -> None:
    text = LEAST.replace("upper_arm", "abdomen").replace("[290, 300, 315]", "[880, 900, 930]")
    fat = "fat_mm = { front = 28, left = 20, inner = 20, back = 16, right = 18 }\n[[panel]]"
    with pytest.raises(CaseError) as caught:
        case_from_toml(text.replace("[[panel]]", fat))
    assert caught.value.sentence == (
        "region.fat_mm gives both left and inner, which are the same direction; give one"
    )


def test_power_in_steps_with_a_pause() -> None:
    case = case_from_toml(
        LEAST
        + "[session]\nminutes = 20\nsteps = [{ minute = 0, power_w = 40 }, { minute = 5, power_w = 0 }, "
        "{ minute = 7.5, power_w = 60 }]\n"
    )
    assert case.session.power == PowerCurve((0.0, 300.0, 450.0), (40.0, 0.0, 60.0), 1200.0)
    assert case.session.power_kind is PowerKind.SET
    assert "session.power_w" not in [a.key for a in assumptions(case)]


def test_absorbed_power_needs_no_fraction() -> None:
    case = case_from_toml(LEAST + "[session]\nabsorbed_w = 40\n")
    keys = [a.key for a in assumptions(case)]
    assert "session.absorbed_fraction" not in keys
    assert "session.power_w" not in keys


def test_changed_defaults_are_no_assumptions_any_more() -> None:
    case = case_from_toml(LEAST)
    changed = case.with_panel("panel 1", gap_m=0.011)
    gone = {a.key for a in assumptions(case)} - {a.key for a in assumptions(changed)}
    assert gone == {"panel[0].gap_mm"}
    assert case.panels[0].gap_m == 0.010
    assert changed.placed[0].clearance(0.0, 0.0) == pytest.approx(0.011)
    with pytest.raises(KeyError, match="panel 1"):
        case.with_panel("inner", gap_m=0.011)


def test_panels_without_a_name_are_numbered() -> None:
    case = case_from_toml(LEAST + "angle_deg = 90\n[[panel]]\nangle_deg = 270\n")
    assert [panel.name for panel in case.panels] == ["panel 1", "panel 2"]


def test_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_bytes(LEAST.replace("\n", "\r\n").encode("utf-8-sig"))
    assert read_case(path) == case_from_toml(LEAST)


def test_tissue_set_of_the_clinic_beside_the_case_file(tmp_path: Path) -> None:
    (tmp_path / "ours.toml").write_text('extends = "default"\ntitle = "Ours"\n', encoding="utf-8")
    path = tmp_path / "case.toml"
    path.write_text(LEAST + '[tissue]\nset = "ours.toml"\n', encoding="utf-8")
    assert read_case(path).tissue_set == str((tmp_path / "ours.toml").resolve())


@pytest.mark.parametrize("name", ["abdomen", "upper_arm", "thigh"])
def test_examples_are_good_and_say_they_are_invented(name: str) -> None:
    path = EXAMPLES / f"{name}.toml"
    assert path.read_text(encoding="utf-8").startswith("# This person is invented")
    case = read_case(path)
    assert "invented" in case.title
    assert case.measurements.kind == name
    assert sorted(panel.drive for panel in case.panels) == [-1.0, 1.0]
