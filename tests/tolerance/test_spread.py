"""The joint spread: documented, reproducible, and with the quantiles it says."""

import numpy as np
import pytest

from evenfield.case import Case
from evenfield.tissue import Label
from evenfield.tolerance.member import changed_case, one_row, possible, setting_for
from evenfield.tolerance.spread import CUT_OFF, Law, spread_of


def test_every_unknown_has_words_source_and_label(limb: Case) -> None:
    spread = spread_of(limb)
    assert len(set(spread.keys)) == len(spread.keys)
    for unknown in spread.unknowns:
        assert unknown.words
        assert len(unknown.source) > 10
        assert unknown.label in Label
        assert unknown.source in str(unknown)
    groups = {key.split(".")[0] for key in spread.keys}
    assert groups == {
        "fat_kind", "dielectric", "flow", "exchange", "core", "fat_thickness", "girth", "gap", "tilt_across",
        "tilt_along", "absorbed_fraction",
    }  # fmt: skip


def test_quantiles_of_the_sample_are_those_said(limb: Case) -> None:
    """Dielectric ±25 % as the middle 95 % (S. Gabriel 1996, label M); girth 1 % (label M); the case's range
    of the absorbed fraction as 5, 50, 95 %."""
    spread = spread_of(limb)
    values = spread.values(spread.scores(4096, 1))
    assert np.quantile(values["dielectric.fat.conductivity"], [0.025, 0.975]) == pytest.approx(
        [1 / 1.25, 1.25], abs=0.01
    )
    assert np.std(values["girth"]) == pytest.approx(0.01, abs=3e-4)
    fraction = limb.session.absorbed_fraction
    wanted = [fraction.low, fraction.mid, fraction.high]
    assert np.quantile(values["absorbed_fraction"], [0.05, 0.5, 0.95]) == pytest.approx(wanted, abs=0.01)
    assert np.mean(values["fat_kind"]) == pytest.approx(0.5, abs=0.01)


def test_same_seed_same_rows_another_seed_other_rows(limb: Case) -> None:
    spread = spread_of(limb)
    first = spread.scores(64, 7)
    assert np.array_equal(first, spread.scores(64, 7))
    assert not np.array_equal(first, spread.scores(64, 8))
    assert np.max(np.abs(first)) <= CUT_OFF + 1e-12


def test_nominal_row_is_the_case_itself(limb: Case) -> None:
    spread = spread_of(limb)
    values = one_row(spread, np.zeros(len(spread.unknowns)))
    assert changed_case(limb, values) == limb
    assert setting_for(limb, values).materials == setting_for(limb, {}).materials


def test_a_panel_that_would_touch_is_moved_back(limb: Case) -> None:
    close = limb.with_panel("inner", gap_m=0.005)
    spread = spread_of(close)
    row = np.zeros((1, len(spread.unknowns)))
    row[0, spread.column("tilt_along.inner")] = CUT_OFF
    row[0, spread.column("gap.inner")] = -CUT_OFF
    row[0, spread.column("flow.fat")] = 1.0
    moved = possible(close, spread, row)
    share = moved[0, spread.column("gap.inner")] / row[0, spread.column("gap.inner")]
    assert 0.0 < share < 1.0
    assert moved[0, spread.column("tilt_along.inner")] == pytest.approx(share * CUT_OFF)
    assert moved[0, spread.column("flow.fat")] == 1.0


def test_widths_can_be_changed_as_data(limb: Case) -> None:
    wide = spread_of(limb, {"gap": {"sd_mm": 3.0}})
    assert wide.unknowns[wide.column("gap.inner")].width[0] == pytest.approx(3e-3)
    assert {u.law for u in wide.without("fat_kind").unknowns} == {Law.FACTOR, Law.ADDED, Law.SHARE}
