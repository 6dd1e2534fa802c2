"""`evenfield diagnose`: causes of a shown tuning in order, each load solved for the case."""

import json
from pathlib import Path

import pytest

from evenfield.case import case_from_toml
from evenfield.cli import main
from evenfield.field import likely_causes, load_device_profile
from evenfield.field.diagnosis import PlannedPanel
from evenfield.tolerance import Diagnosis, diagnosis
from tests.calf import CALF_10_W


@pytest.fixture(scope="module")
def found() -> Diagnosis:
    return diagnosis(case_from_toml(CALF_10_W), 60.0, 50.0)


def test_causes_come_in_order_and_each_has_a_check(found: Diagnosis) -> None:
    weights = [c.weight for c in found.causes]
    assert weights == sorted(weights, reverse=True)
    assert sum(weights) == pytest.approx(1.0)
    assert all(c.hypothesis.check for c in found.causes)
    assert all(c.computed for c in found.causes if c.hypothesis.other_load), "every load was solved"


def test_close_cables_explain_a_low_tuning_better_than_the_plan(found: Diagnosis) -> None:
    """Common practice, no source: tuning falls when cables run close together."""
    weight = {c.hypothesis.key: c.weight for c in found.causes}
    assert found.expected.percent > 60.0
    assert weight["cables_close"] > weight["as_planned"]


def test_solved_loads_differ_from_the_rule_of_thumb(found: Diagnosis) -> None:
    """What the solver says of a larger gap is near to what the scaling rule says, and not the same."""
    solved = {c.hypothesis.key: c.predicted_percent for c in found.causes}
    scaled = likely_causes(
        load_device_profile(),
        set_power_w=60.0,
        shown_tuning_percent=50.0,
        panels=[PlannedPanel("back", 0.012)],
        admittances={"as_planned": found.admittance_s},
    )
    for cause in scaled:
        if cause.hypothesis.panel is not None:
            assert cause.predicted_percent is not None
            assert cause.predicted_percent == pytest.approx(solved[cause.hypothesis.key], abs=12.0)
            assert cause.predicted_percent != solved[cause.hypothesis.key]


def test_the_command_prints_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "case.toml"
    path.write_text(CALF_10_W, encoding="utf-8")
    assert main(["diagnose", str(path), "--set-power", "60", "--tuning", "50", "--json", "-"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["causes"][0]["weight"] >= printed["causes"][1]["weight"]
    assert printed["tuning"]["generic"] is True
    assert "manual" in printed["caution"]


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (["--set-power", "60", "--tuning", "150"], "150 %"),
        (["--set-power", "0", "--tuning", "50"], "0 W"),
        (["--set-power", "60", "--tuning", "50", "--device", "none.toml"], "none.toml"),
    ],
)
def test_what_cannot_be_is_one_sentence(
    options: list[str], named: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "case.toml"
    path.write_text(CALF_10_W, encoding="utf-8")
    assert main(["diagnose", str(path), *options]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert named in told.err


def test_json_in_a_file_is_named_at_the_end(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, told = tmp_path / "case.toml", tmp_path / "told.json"
    path.write_text(CALF_10_W, encoding="utf-8")
    assert main(["diagnose", str(path), "--set-power", "60", "--tuning", "50", "--json", str(told)]) == 0
    assert capsys.readouterr().out.endswith(f"Written: {told}\n")
    assert json.loads(told.read_text(encoding="utf-8"))["causes"]
