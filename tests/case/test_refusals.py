"""One clear sentence for each way a case file can be wrong: the key, the value and what is allowed."""

from pathlib import Path

import pytest

from evenfield.body import InputError
from evenfield.case import CaseError, case_from_toml, read_case

GOOD = """\
title = "Invented arm"
[region]
kind = "upper_arm"
levels_mm = [-80, 0, 80]
girth_mm = [290, 300, 315]
width_to_depth = 1.0
fat_mm = { front = 12, inner = 15, back = 18, outer = 14 }
skin_mm = 2.0
bone_radius_mm = 11
fat = "average_infiltrated"
[room]
air_c = 23
humidity = 0.5
[[panel]]
name = "inner"
shape = "flat"
angle_deg = 90
level_mm = 0
width_mm = 90
length_mm = 140
gap_mm = 12
tilt_across_deg = 0
tilt_along_deg = 0
drive = 1.0
[[panel]]
name = "outer"
angle_deg = 270
width_mm = 90
gap_mm = 13
drive = -1.0
[session]
power_w = 60
minutes = 30
band_c = [40, 43]
absorbed_fraction = { low = 0.3, mid = 0.5, high = 0.7 }
"""


def refused(text: str) -> CaseError:
    with pytest.raises(CaseError) as caught:
        case_from_toml(text, "arm.toml")
    error = caught.value
    assert str(error) == f"arm.toml: {error.sentence}"
    assert "\n" not in error.sentence
    assert error.allowed
    return error


def changed(old: str, new: str) -> str:
    assert GOOD.count(old) == 1, old
    return GOOD.replace(old, new)


def test_the_text_that_is_spoilt_below_is_good() -> None:
    case_from_toml(GOOD)


@pytest.mark.parametrize(
    ("old", "new", "key", "sentence"),
    [
        # unknown keys
        (
            "girth_mm =",
            "girth_mn =",
            "region.girth_mn",
            "unknown key region.girth_mn: did you mean girth_mm?",
        ),
        (
            "skin_mm = 2.0",
            "length_mm = 2.0",
            "region.length_mm",
            "unknown key region.length_mm: it belongs in [[panel]]",
        ),
        ("gap_mm = 13", "gap = 13", "panel[1].gap", "unknown key panel[1].gap: did you mean gap_mm?"),
        (
            "humidity = 0.5",
            "carpet = true",
            "room.carpet",
            "unknown key room.carpet: allowed here: air_c, air_speed_m_s, drape_clo, humidity, wettedness",
        ),
        (
            'title = "Invented arm"',
            'client = "x"',
            "client",
            "unknown key client: a case file holds nobody's name, only a title",
        ),
        (
            "[session]",
            "[sesion]",
            "sesion",
            "unknown key sesion: did you mean session?",
        ),
        (
            "mid = 0.5",
            "middle = 0.5",
            "session.absorbed_fraction.middle",
            "unknown key session.absorbed_fraction.middle: did you mean mid?",
        ),
        (
            "outer = 14",
            "left = 14",
            "region.fat_mm.left",
            "unknown key region.fat_mm.left: allowed here: front, inner, back, outer",
        ),
        # missing keys
        (
            "girth_mm = [290, 300, 315]\n",
            "",
            "region.girth_mm",
            "region.girth_mm is missing: give the measured girth at each level in mm, e.g. "
            "girth_mm = [290, 300, 315]",
        ),
        (
            'kind = "upper_arm"\n',
            "",
            "region.kind",
            'region.kind is missing: name the part of the body, e.g. kind = "upper_arm"',
        ),
        (
            ", outer = 14",
            "",
            "region.fat_mm.outer",
            "region.fat_mm.outer is missing: give all four directions, front, inner, back, outer",
        ),
        (
            "low = 0.3, ",
            "",
            "session.absorbed_fraction.low",
            "session.absorbed_fraction.low is missing: give it",
        ),
        # types
        (
            "girth_mm = [290, 300, 315]",
            "girth_mm = 300",
            "region.girth_mm",
            "region.girth_mm = 300: must be a list of numbers in square brackets",
        ),
        ("skin_mm = 2.0", 'skin_mm = "2"', "region.skin_mm", 'region.skin_mm = "2": must be a number'),
        ("skin_mm = 2.0", "skin_mm = true", "region.skin_mm", "region.skin_mm = true: must be a number"),
        ("skin_mm = 2.0", "skin_mm = nan", "region.skin_mm", "region.skin_mm = nan: must be a finite number"),
        ("gap_mm = 12", "gap_mm = inf", "panel[0].gap_mm", "panel[0].gap_mm = inf: must be a finite number"),
        (
            "[290, 300, 315]",
            "[290, -inf, 315]",
            "region.girth_mm[1]",
            "region.girth_mm[1] = -inf: must be a finite number",
        ),
        (
            "back = 18",
            "back = nan",
            "region.fat_mm.back",
            "region.fat_mm.back = nan: must be a finite number",
        ),
        (
            'kind = "upper_arm"',
            'kind = "arm"',
            "region.kind",
            'region.kind = "arm": must be "abdomen", "flank", "thigh", "above_knee", "upper_arm" or "calf"',
        ),
        (
            'shape = "flat"',
            'shape = "round"',
            "panel[0].shape",
            'panel[0].shape = "round": must be "flat" or "curved"',
        ),
        (
            'fat = "average_infiltrated"',
            'fat = "lean"',
            "region.fat",
            'region.fat = "lean": must be "average_infiltrated" or "not_infiltrated"',
        ),
        (
            'title = "Invented arm"',
            "title = 3",
            "title",
            "title = 3: must be text in quotes",
        ),
        (
            "fat_mm = { front = 12, inner = 15, back = 18, outer = 14 }",
            'fat_mm = "12"',
            "region.fat_mm",
            "region.fat_mm = '12': must be one number, a table { front = .., inner = .., back = .., "
            "outer = .. }, "
            "or a list of those, one per level",
        ),
        # lists that do not match
        (
            "[290, 300, 315]",
            "[290, 300]",
            "region.girth_mm",
            "region.girth_mm has 2 values but region.levels_mm has 3; allowed: one girth per level",
        ),
        (
            "[290, 300, 315]",
            "[]",
            "region.girth_mm",
            "region.girth_mm is empty: give the measured girth at each level in mm",
        ),
        (
            "{ front = 12, inner = 15, back = 18, outer = 14 }",
            "[12, 14]",
            "region.fat_mm",
            "region.fat_mm has 2 entries but there are 3 levels; allowed: one per level, or one for all",
        ),
        (
            "[-80, 0, 80]",
            "[-80, 0, 0]",
            "region.levels_mm",
            "region.levels_mm = [-80.0, 0.0, 0.0]: levels must ascend, each only once",
        ),
        # wrong units
        (
            "[290, 300, 315]",
            "[29, 30, 31.5]",
            "region.girth_mm[0]",
            "region.girth_mm[0] = 29: looks like centimetres; girth of an upper arm in mm is allowed "
            "from 150 to 600",
        ),
        (
            "[290, 300, 315]",
            "[290, 11.8, 315]",
            "region.girth_mm[1]",
            "region.girth_mm[1] = 11.8: looks like inches; girth of an upper arm in mm is allowed from "
            "150 to 600",
        ),
        (
            "[290, 300, 315]",
            "[0.29, 0.3, 0.315]",
            "region.girth_mm[0]",
            "region.girth_mm[0] = 0.29: looks like metres; girth of an upper arm in mm is allowed from "
            "150 to 600",
        ),
        (
            "[290, 300, 315]",
            "[290, 300, 3150]",
            "region.girth_mm[2]",
            "region.girth_mm[2] = 3150: girth of an upper arm in mm is allowed from 150 to 600",
        ),
        (
            "[-80, 0, 80]",
            "[-8, 0, 8]",
            "region.levels_mm from first to last",
            "region.levels_mm from first to last = 16: looks like centimetres or inches; the span of the "
            "levels in "
            "mm is allowed from 30 to 1000",
        ),
        (
            "front = 12",
            "front = 1.2",
            "region.fat_mm.front",
            "region.fat_mm.front = 1.2: looks like centimetres or inches; fat thickness of an upper arm "
            "in mm is "
            "allowed from 1.5 to 80",
        ),
        (
            "bone_radius_mm = 11",
            "bone_radius_mm = 1.1",
            "region.bone_radius_mm",
            "region.bone_radius_mm = 1.1: looks like centimetres; bone radius of an upper arm in mm is "
            "allowed "
            "from 6 to 18",
        ),
        (
            "gap_mm = 12",
            "gap_mm = 1.2",
            "panel[0].gap_mm",
            "panel[0].gap_mm = 1.2: looks like centimetres or inches; the gap from skin to panel in mm "
            "is allowed "
            "from 2 to 80",
        ),
        (
            "length_mm = 140",
            "length_mm = 0.14",
            "panel[0].length_mm",
            "panel[0].length_mm = 0.14: looks like metres; a panel's length in mm is allowed from 20 to 600",
        ),
        (
            "air_c = 23",
            "air_c = 73",
            "room.air_c",
            "room.air_c = 73: looks like degrees Fahrenheit; air temperature in °C is allowed from 10 to 40",
        ),
        (
            "humidity = 0.5",
            "humidity = 50",
            "room.humidity",
            "room.humidity = 50: looks like percent; relative humidity as a share is allowed from 0 to 1",
        ),
        (
            "minutes = 30",
            "minutes = 1800",
            "session.minutes",
            "session.minutes = 1800: looks like seconds; the time with power in minutes is allowed from "
            "0.5 to 180",
        ),
        (
            "band_c = [40, 43]",
            "band_c = [104, 109]",
            "session.band_c[0]",
            "session.band_c[0] = 104: looks like degrees Fahrenheit; the wanted band in °C is allowed "
            "from 35 to 46",
        ),
        (
            "mid = 0.5",
            "mid = 50",
            "session.absorbed_fraction.mid",
            "session.absorbed_fraction.mid = 50: looks like percent; the absorbed share of set power is "
            "allowed "
            "from 0.01 to 1",
        ),
        (
            "tilt_along_deg = 0",
            "tilt_along_deg = 45",
            "panel[0].tilt_along_deg",
            "panel[0].tilt_along_deg = 45: a tilt in degrees is allowed from -20 to 20",
        ),
        (
            "power_w = 60",
            "power_w = -5",
            "session.power_w",
            "session.power_w = -5: set power in W is allowed from 0 to 1000",
        ),
        # what does not fit together
        (
            "bone_radius_mm = 11",
            "wall_mm = 12",
            "region.wall_mm",
            "region.wall_mm = 12: there is none on upper_arm; allowed only on abdomen, flank",
        ),
        (
            'name = "outer"',
            'name = "inner"',
            "panel[1].name",
            'panel[1].name = "inner": another panel has this name; each is allowed once',
        ),
        (
            'name = "outer"',
            r'name = "a\nb"',
            "panel[1].name",
            "panel[1].name: must be one line of printable text, 1 to 40 characters",
        ),
        (
            "Invented arm",
            "",
            "title",
            "title: must be one line of printable text, 1 to 120 characters",
        ),
        (
            "power_w = 60",
            "power_w = 60\nabsorbed_w = 30",
            "session.absorbed_w",
            "session.power_w and session.absorbed_w are both given; allowed: one of power_w (what the "
            "device shows), "
            "absorbed_w (what the tissue takes up) and steps",
        ),
        (
            "band_c = [40, 43]",
            "band_c = [43, 40]",
            "session.band_c",
            "session.band_c = [43, 40]: the first must be lower than the second",
        ),
        (
            "band_c = [40, 43]",
            "band_c = [40]",
            "session.band_c",
            "session.band_c has 1 values; allowed: two, the lowest and the highest temperature in °C",
        ),
        (
            "low = 0.3",
            "low = 0.6",
            "session.absorbed_fraction",
            "session.absorbed_fraction = 0.6, 0.5, 0.7: allowed is low <= mid <= high",
        ),
        (
            "band_c = [40, 43]",
            "picture_minute = 40",
            "session.picture_minute",
            "session.picture_minute = 40: lies outside the session; allowed from 0 to 30 (minutes and "
            "after_minutes)",
        ),
        # power in steps
        (
            "power_w = 60",
            "steps = []",
            "session.steps",
            "session.steps is empty: give at least { minute = 0, power_w = .. }",
        ),
        (
            "power_w = 60",
            "steps = [{ minute = 1, power_w = 60 }]",
            "session.steps[0].minute",
            "session.steps[0].minute = 1: steps begin at 0 and follow in time; allowed here: 0",
        ),
        (
            "power_w = 60",
            "steps = [{ minute = 0, power_w = 60 }, { minute = 30, power_w = 0 }]",
            "session.steps[1].minute",
            "session.steps[1].minute = 30: steps begin at 0 and follow in time; allowed here: above 0 "
            "and below 30 "
            "(session.minutes)",
        ),
        (
            "power_w = 60",
            "steps = [{ minute = 0 }]",
            "session.steps[0]",
            "session.steps[0]: give either power_w or absorbed_w",
        ),
        (
            "power_w = 60",
            "steps = [{ minute = 0, power_w = 60 }, { minute = 5, absorbed_w = 20 }]",
            "session.steps",
            "session.steps mixes power_w and absorbed_w; allowed: the same one in every step",
        ),
        (
            "power_w = 60",
            "steps = [{ minute = 0, power_w = 6000 }]",
            "session.steps[0].power_w",
            "session.steps[0].power_w = 6000: set power in W is allowed from 0 to 1000",
        ),
        (
            "power_w = 60",
            "steps = 60",
            "session.steps",
            "session.steps = 60: must be a list of tables",
        ),
    ],
)
def test_one_sentence(old: str, new: str, key: str, sentence: str) -> None:
    error = refused(changed(old, new))
    assert error.sentence == sentence
    assert error.key == key


def test_no_panel() -> None:
    head, _, _ = GOOD.partition("[[panel]]")
    assert refused(head).sentence == "panel is missing: write at least one [[panel]]"
    assert refused(f"panel = []\n{head}").sentence == "panel is empty: write at least one [[panel]]"
    single = refused(head + '[panel]\nname = "inner"\n')
    assert single.sentence.endswith("must be written as [[panel]], with two brackets")


def test_no_region() -> None:
    assert (
        refused('[[panel]]\nname = "a"\n').sentence
        == "region is missing: write [region] with kind and girth_mm"
    )
    assert refused("region = 3\n[[panel]]\n").sentence == "region = 3: must be a table"
    assert refused("").sentence == "region is missing: write [region] with kind and girth_mm"


@pytest.mark.parametrize(
    ("old", "new", "key", "begins", "holds"),
    [
        (
            "gap_mm = 12\ntilt_across_deg = 0\ntilt_along_deg = 0",
            "gap_mm = 5\ntilt_across_deg = 0\ntilt_along_deg = 6",
            "panel[0].tilt_along_deg",
            'panel[0].tilt_along_deg = 6 (panel "inner"): this tilt brings the panel\'s lower edge ',
            "at least 1 mm of air is needed everywhere; allowed here from -2.7 to 3.1°",
        ),
        (
            "angle_deg = 270",
            "angle_deg = 120",
            "panel[1].angle_deg",
            'panel[1].angle_deg = 120 (panel "outer"): the panel overlaps panel[0] ("inner")',
            "at least 5 mm between panels",
        ),
        (
            "level_mm = 0\n",
            "level_mm = 40\n",
            "panel[0].level_mm",
            'panel[0].level_mm = 40 (panel "inner"): with length_mm = 140 the panel reaches from level '
            "-30 to 110",
            "allowed from -10 to 10 mm",
        ),
        (
            "girth_mm = [290, 300, 315]",
            "girth_mm = [400, 250, 400]",
            "panel[0].gap_mm",
            'panel[0].gap_mm = 12 (panel "inner"): the panel comes ',
            "mm into the skin at its ",
        ),
        (
            "back = 18",
            "back = 44",
            "region.fat_mm",
            "region.fat_mm = 44 (back, level -80 mm): with a girth of 290 mm",
            "leaves no room for a bone of radius 11 mm and the muscle around it",
        ),
    ],
)
def test_body_and_placement_are_checked_too(old: str, new: str, key: str, begins: str, holds: str) -> None:
    error = refused(changed(old, new))
    assert error.key == key
    assert error.sentence.startswith(begins)
    assert holds in error.sentence


def test_all_drives_zero() -> None:
    error = refused(changed("drive = 1.0", "drive = 0").replace("drive = -1.0", "drive = 0"))
    assert error.key == "panel.drive"
    assert "nothing would be heated" in error.sentence


def test_the_most_basic_fault_is_told_first() -> None:
    spoilt = changed("gap_mm = 12", "gap_mm = 1").replace("skin_mm = 2.0", 'skin_mm = "2"')
    assert refused(spoilt).key == "region.skin_mm"
    assert refused(spoilt.replace("humidity", "humdity")).key == "room.humdity"
    assert refused(spoilt.replace("humidity", "humdity") + "minutes = 3").key == ""


def test_toml_syntax_with_its_line() -> None:
    error = refused(changed("skin_mm = 2.0", "skin_mm = 2,0"))
    assert error.sentence.startswith("this is not valid TOML: ")
    assert "line 8" in error.sentence
    assert "line 4" in refused(changed("levels_mm = [-80, 0, 80]", 'kind = "calf"')).sentence


def test_without_a_folder_only_shipped_tissue_sets_can_be_named() -> None:
    error = refused(GOOD + '[tissue]\nset = "mine.toml"\n')
    assert error.key == "tissue.set"
    assert error.sentence.startswith('tissue.set = "mine.toml": allowed here: ')
    assert "default" in error.allowed


def test_missing_or_faulty_tissue_set_file(tmp_path: Path) -> None:
    case = tmp_path / "arm.toml"
    case.write_text(GOOD + '[tissue]\nset = "mine.toml"\n', encoding="utf-8")
    with pytest.raises(CaseError, match=r"tissue\.set: tissue set .*mine\.toml") as caught:
        read_case(case)
    assert caught.value.key == "tissue.set"
    (tmp_path / "mine.toml").write_text('extends = "default"\nnonsense = 1\n', encoding="utf-8")
    with pytest.raises(CaseError, match="nonsense"):
        read_case(case)


def test_file_missing_or_unreadable(tmp_path: Path) -> None:
    for path, sentence in (
        (tmp_path / "none.toml", "there is no such file"),
        (tmp_path, "the file cannot be read: is a directory"),
    ):
        with pytest.raises(CaseError) as caught:
            read_case(path)
        assert str(caught.value) == f"{path}: {sentence}"
        assert isinstance(caught.value, InputError)
    latin = tmp_path / "latin.toml"
    latin.write_bytes('title = "Käse"'.encode("latin-1"))
    with pytest.raises(CaseError) as caught:
        read_case(latin)
    assert caught.value.sentence == "this is not text in UTF-8 (byte 11); save the file as UTF-8"
