"""What the terminal and the report say is what the forecast holds."""

from dataclasses import replace
from pathlib import Path

import pytest

from evenfield.case import PowerKind, case_from_toml, read_case
from evenfield.cli.summary import print_summary
from evenfield.dose import crossing
from evenfield.forecast import Forecast, forecast_to_json
from evenfield.report import basis_lines, body_lines, findings, setting_line, shares
from evenfield.report.forecast_page import report_data
from evenfield.report.in_time import under_each_panel
from evenfield.report.maps import hottest_through
from evenfield.report.wording import hottest, minute_text
from tests.case.test_read import OWN_SET
from tests.report.coarse import EXAMPLES, barely_told, coarse_forecast


@pytest.fixture(scope="module")
def f() -> Forecast:
    return coarse_forecast()


def test_minutes_in_words() -> None:
    assert [minute_text(m) for m in (0.0, 5.94, 6.02, 9.99, 12.4)] == [
        "0 min",
        "5.9 min",
        "6 min",
        "10 min",
        "12 min",
    ]


@pytest.mark.parametrize("tissue", ["skin", "fat"])
def test_the_hottest_point_lies_where_and_when_it_is_said(f: Forecast, tissue: str) -> None:
    spot = hottest(f, tissue)
    assert spot.temperature_c == pytest.approx(f.peak_c[tissue], abs=1e-4)
    assert spot.minute == pytest.approx(12.0, abs=1.01), "power ends after 12 min"
    assert tissue in spot.place
    assert "panel" in spot.place
    assert spot.range_c is not None
    assert spot.range_c[0] < spot.temperature_c < spot.range_c[1]


def test_a_larger_absorbed_fraction_reaches_the_band_earlier(f: Forecast) -> None:
    for one in under_each_panel(f, "fat"):
        assert one.low_c is not None
        assert one.high_c is not None
        times = [crossing(f.minutes, s, 39.0) for s in (one.high_c, one.mean_c, one.low_c)]
        assert None not in times
        assert times == sorted(times, key=lambda t: t or 0.0)
        assert (one.hottest_c >= one.mean_c - 1e-3).all()


def test_every_panel_has_its_line_and_the_assumption_is_told(f: Forecast) -> None:
    told = {one.what: one for one in findings(f)}
    assert {"Mean of fat, inner panel", "Mean of fat, outer panel"} < set(told)
    assert told["Absorbed share of power"].value == "0.55"
    assert told["Absorbed share of power"].assumed_range == "0.35 to 0.75"
    assert "assumed until the device is calibrated" in told["Absorbed share of power"].detail


def test_given_absorbed_power_leaves_no_range(f: Forecast) -> None:
    session = replace(f.case.session, power_kind=PowerKind.ABSORBED)
    told = findings(replace(f, band=None, case=replace(f.case, session=session)))
    assert all(one.assumed_range == "" for one in told)
    assert "as given" in next(one.detail for one in told if one.what == "Absorbed power")


@pytest.mark.parametrize(("bound", "shown"), [(0.0099, False), (0.0101, True)])
def test_the_burn_integral_is_shown_only_where_it_says_something(
    f: Forecast, bound: float, shown: bool
) -> None:
    zones = tuple(replace(z, burn=0.5 * bound, burn_cautious=bound) for z in f.zones)
    told = [one for one in findings(replace(f, zones=zones)) if one.what.startswith("Burn")]
    assert bool(told) is shown
    assert all("no assurance" in one.detail for one in told)


def test_pauses_are_told_and_do_not_count_as_power() -> None:
    thigh = read_case(EXAMPLES / "thigh.toml")
    assert "50 to 80 W set power with pauses for 35 min, then 5 min without" in setting_line(thigh)


def test_the_absorbed_power_is_told_with_what_is_assumed_of_it() -> None:
    arm = read_case(EXAMPLES / "upper_arm.toml")
    power, fat, tissues = basis_lines(arm)
    assert power.startswith("At 15.4 W absorbed: 0.55 of 28 W set, assumed until the device is calibrated; ")
    assert power.endswith("0.35 to 0.75 possible.")
    assert fat == "Fat: average infiltrated."
    assert tissues.startswith("Tissue values: Gabriel 1996 dispersions")
    assert tissues.endswith(" (default)")
    text = (EXAMPLES / "upper_arm.toml").read_text(encoding="utf-8")
    known = "[session]\nabsorbed_fraction = { low = 0.5, mid = 0.6, high = 0.7 }\n"
    told = basis_lines(case_from_toml(text.replace("[session]\n", known)))[0]
    assert told == "At 16.8 W absorbed: 0.6 of 28 W set, as given; 0.5 to 0.7 possible."
    assert (
        basis_lines(case_from_toml(text.replace("power_w", "absorbed_w")))[0] == "At 28 W absorbed, as given."
    )
    thigh = read_case(EXAMPLES / "thigh.toml")
    assert basis_lines(thigh)[0].startswith("At 27.5 to 44 W absorbed: 0.55 of 50 to 80 W set, assumed")


def test_a_clinics_own_tissue_values_are_named_wherever_results_are(
    f: Forecast, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "own.toml").write_text(OWN_SET, encoding="utf-8")
    own = replace(f, case=replace(f.case, tissue_set=str(tmp_path / "own.toml")))
    print_summary(own, [])
    told = " ".join(capsys.readouterr().out.split())
    line, assumed = (
        "Tissue values: An invented clinic's own values (own)",
        "fat.conductivity_w_mk = 0.19 W/(m K)",
    )
    assert line in told
    assert assumed in told
    page = report_data(own, ())
    assert page["tissues"] == line
    assert any(one.startswith(assumed) for one in page["assumptions"])
    document = forecast_to_json(own)
    assert document["tissue_set"] == {"name": "own", "title": "An invented clinic's own values"}
    assert any(one.startswith(assumed) for one in document["assumptions"])


def test_shares_are_whole(f: Forecast) -> None:
    values = [share for _, share in shares(f)]
    assert sum(values) == pytest.approx(1.0, abs=1e-6)
    assert values == sorted(values, reverse=True)


def test_a_bound_that_passes_a_burn_says_so_and_comes_after_the_hottest_points(f: Forecast) -> None:
    told = findings(barely_told(f))
    assert [one.what for one in told[:3]] == ["Hottest in fat", "Hottest in skin", "Burn integral of skin"]
    assert told[2].value == "0.2 to 1.6"
    assert told[2].detail.endswith("this plan may burn")
    mild = replace(f, zones=tuple(replace(z, burn=0.1, burn_cautious=0.9) for z in f.zones))
    assert findings(mild)[2].detail.endswith("less is no assurance")


def test_the_body_is_told_as_it_was_measured(f: Forecast) -> None:
    assert body_lines(f.case) == [
        "Girth 290, 300, 315 mm at levels -80, 0, 80 mm",
        "Fat front 12, inner 15, back 18, outer 14 mm",
    ]
    per_level = (
        'region = { kind = "abdomen", girth_mm = [900, 950], '
        "fat_mm = [20, { front = 30, left = 25, back = 18, right = 24 }] }"
    )
    assert body_lines(case_from_toml(f"{per_level}\npanel = [{{ width_mm = 90 }}]")) == [
        "Girth 900, 950 mm at levels -80, 80 mm",
        "Fat front 20, 30; left 20, 25; back 20, 18; right 20, 24 mm",
    ]


@pytest.mark.parametrize("tissue", ["skin", "fat"])
def test_the_first_hot_spot_is_the_hottest_point_of_its_minute(f: Forecast, tissue: str) -> None:
    """The list, the map and the headline are one thing: a node between skin and fat counts for both."""
    first = next(spot for spot in f.hottest if spot.tissue == tissue)
    assert first.temperature_c == pytest.approx(f.peak_series_c[tissue][f.picture], abs=1e-4)
    assert hottest_through(f, tissue).max() == pytest.approx(first.temperature_c, abs=1e-4)
