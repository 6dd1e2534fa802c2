"""Figures: what they show lies where it is drawn, and the same forecast gives the same bytes."""

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from evenfield.applicator import place
from evenfield.case import case_from_toml, read_case
from evenfield.forecast import Forecast, forecast
from evenfield.grid.layout import Spacing, make_layout
from evenfield.report import pictures
from evenfield.report.figures import draw_in_time, draw_maps, draw_section, save, scale_of
from evenfield.report.look import LINES, TEMPERATURE, styled
from evenfield.report.maps import hottest_through, outline, unrolled
from evenfield.report.section import at_level, panel_in_plane, section_level_m
from tests.report.coarse import EXAMPLES, barely_told, coarse_forecast


@pytest.fixture(scope="module")
def f() -> Forecast:
    return coarse_forecast()


def test_the_section_has_the_measured_girth(f: Forecast) -> None:
    """The outermost line of the section is as long as the tape said at that level (300 mm at level 0)."""
    level = section_level_m(f)
    assert level == 0.0
    x, y, t = at_level(f, level, f.history.temperature_c[0].astype(np.float64))
    girth = np.hypot(np.diff(x[:, -1]), np.diff(y[:, -1])).sum()
    assert girth == pytest.approx(0.300, rel=0.004)  # chords of a coarse grid are shorter than the arc
    assert np.isfinite(t).all()


def test_panels_are_drawn_where_they_stand(f: Forecast) -> None:
    """Flat panels of 90 mm width, parallel to the axis: the cut is a straight line of that length."""
    for placed in f.case.placed:
        line = panel_in_plane(placed, 0.0)
        assert line is not None
        assert np.hypot(*(line[-1] - line[0])) == pytest.approx(placed.panel.width_m, rel=1e-6)
    assert panel_in_plane(f.case.placed[0], 0.2) is None


def test_the_map_is_cut_away_from_the_panels_and_keeps_lengths(f: Forecast) -> None:
    shown = unrolled(f)
    assert abs(np.cos(shown.cut_rad)) == pytest.approx(1.0, abs=1e-3), (
        "front or back: between inner and outer"
    )
    for placed in f.case.placed:
        angle, level = outline(placed)
        arc = shown.arc(shown.angle(angle[:1]) + angle - angle[0], level)
        assert shown.arc_m[0] < arc.min() < arc.max() < shown.arc_m[1]
    whole = shown.arc(np.array([shown.cut_rad, shown.cut_rad + 2 * np.pi]), np.zeros(2))
    assert whole[1] - whole[0] == pytest.approx(0.300, rel=1e-6)


def test_the_cut_lies_in_the_widest_stretch_without_a_panel(f: Forecast) -> None:
    shown = unrolled(replace(f, case=read_case(EXAMPLES / "abdomen.toml")))
    assert np.cos(shown.cut_rad) == pytest.approx(-1.0, abs=1e-3)
    assert np.cos(shown.middle_rad) == pytest.approx(1.0, abs=1e-3)
    shown = unrolled(replace(f, case=read_case(EXAMPLES / "thigh.toml")))
    assert abs(np.cos(shown.cut_rad)) < 0.2, "front and back panels: cut at the inner or outer side"


def test_a_panel_across_the_cut_of_angles_stays_in_one_piece() -> None:
    case = read_case(EXAMPLES / "thigh.toml")
    angle, _ = outline(place(case.panels[1], case.region))
    assert np.ptp(angle) < np.pi


def test_the_scale_holds_what_is_shown_in_whole_degrees(f: Forecast) -> None:
    scale = scale_of(f)
    for tissue in ("skin", "fat"):
        value = hottest_through(f, tissue)
        assert scale.low_c <= value.min()
        assert value.max() <= scale.high_c
    assert scale.low_c == int(scale.low_c)


def test_colours_that_everyone_can_tell_apart() -> None:
    """Okabe and Ito's set as published (2008), and a palette whose lightness rises steadily."""
    import matplotlib as mpl

    assert LINES[:6] == ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
    red, green, blue = mpl.colormaps[TEMPERATURE](np.linspace(0, 1, 64))[:, :3].T
    luminance = 0.2126 * red**2.2 + 0.7152 * green**2.2 + 0.0722 * blue**2.2
    assert (np.diff(luminance) > 0).all()


@pytest.mark.parametrize("ending", [".svg", ".png"])
def test_the_same_forecast_gives_the_same_bytes(f: Forecast, tmp_path: Path, ending: str) -> None:
    for picture in pictures(f):
        first, second = (tmp_path / f"{picture.name}{n}{ending}" for n in (1, 2))
        save(picture.draw(), first)
        save(picture.draw(), second)
        assert first.read_bytes() == second.read_bytes(), picture.name
        assert b"dc:date" not in first.read_bytes()


def test_every_picture_says_what_it_shows(f: Forecast) -> None:
    words = {p.name: p.words for p in pictures(f)}
    assert set(words) == {"section", "maps", "in_time", "shares"}
    assert all(len(text) > 20 for text in words.values())
    assert f"{f.hottest[0].temperature_c:.1f} °C" in words["maps"]


def overlapping(figure: Figure) -> list[tuple[str, str]]:
    """Pairs of words of a figure whose boxes share some of the paper."""
    with styled():
        figure.draw_without_rendering()
        gone = _never_drawn(figure)
        shown = [
            text
            for text in figure.findobj(Text)
            if isinstance(text, Text)
            and text.get_visible()
            and text.get_text().strip()
            and id(text) not in gone
        ]
        boxes = [text.get_window_extent().padded(-0.5) for text in shown]
    return [
        (a.get_text(), b.get_text())
        for (a, one), (b, other) in combinations(zip(shown, boxes, strict=True), 2)
        if one.overlaps(other)
    ]


def _never_drawn(figure: Figure) -> set[int]:
    """Labels of ticks beyond the ends of an axis, which are made all the same."""
    return {
        id(label)
        for ax in figure.axes
        for axis in (ax.xaxis, ax.yaxis)
        for tick in axis.get_major_ticks()
        for label in (tick.label1, tick.label2)
        if not min(axis.get_view_interval()) <= tick.get_loc() <= max(axis.get_view_interval())
    }


def narrow(panels: str, kind: str = "upper_arm", girth: int = 300) -> Forecast:
    case = case_from_toml(
        f'region = {{ kind = "{kind}", girth_mm = [{girth}] }}\npanel = [{panels}]\n'
        "session = { absorbed_w = 15, minutes = 3 }"
    )
    return forecast(case, layout=make_layout(case.region, case.placed, Spacing(scale=2.5)))


FACING = "{ angle_deg = 90 }, { angle_deg = 270, drive = -1 }"


@pytest.mark.parametrize(
    ("panels", "kind", "girth"),
    [
        ("{ name = 'one' }", "upper_arm", 300),
        ("{ width_mm = 45 }", "upper_arm", 300),
        ("{ width_mm = 40, length_mm = 200 }", "calf", 300),
        (FACING, "upper_arm", 300),
        (FACING, "thigh", 550),
        (FACING, "thigh", 700),
        ("{ angle_deg = 0 }, { angle_deg = 180, drive = -1 }", "calf", 360),
    ],
)
def test_no_word_lies_over_another(panels: str, kind: str, girth: int) -> None:
    f = narrow(panels, kind, girth)
    for draw in (draw_maps, draw_section, draw_in_time):
        figure = draw(f)
        assert not overlapping(figure), draw.__name__
        with styled():
            boxes = [box for ax in figure.axes if (box := ax.get_tightbbox()) is not None]
        assert min(box.x0 for box in boxes) > -1.0, draw.__name__
        assert max(box.x1 for box in boxes) < figure.bbox.x1 + 1.0, draw.__name__


def test_legend_and_labels_lie_on_their_picture(f: Forecast) -> None:
    """With long names the legend takes a second row, and labels of isotherms keep off the map's edge."""
    in_time = draw_in_time(barely_told(f))
    in_time.draw_without_rendering()
    assert in_time.legends[0].get_window_extent().x1 <= in_time.bbox.x1
    maps = draw_maps(f)
    maps.draw_without_rendering()
    labels = [
        (text.get_window_extent(), ax.bbox)
        for ax in maps.axes
        for text in ax.texts
        if text.get_text().endswith("°C")
    ]
    assert labels
    for text, ax in labels:
        assert ax.x0 <= text.x0 < text.x1 <= ax.x1
        assert ax.y0 <= text.y0 < text.y1 <= ax.y1
