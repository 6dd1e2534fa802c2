"""`evenfield what-if`: one change against the plan, and refusals in one sentence."""

import json
from pathlib import Path

import pytest

from evenfield.cli import main
from tests.calf import CALF_10_W


@pytest.fixture
def case(tmp_path: Path) -> str:
    path = tmp_path / "case.toml"
    path.write_text(CALF_10_W, encoding="utf-8")
    return str(path)


def test_a_closer_panel_heats_skin_more(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Common practice, no source: close panels heat the skin. The table says what the JSON holds."""
    assert main(["what-if", case, "--gap", "back=5,5", "--json", "-"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["kind"] == "full"
    assert told["change"]["skin_k"] > 0.1
    assert main(["what-if", case, "--gap", "5.5"]) == 0
    printed = capsys.readouterr().out
    assert f"{told['base']['skin_peak_c'][-1]:.1f} °C" in printed
    assert f"{told['change']['skin_k']:+.1f} K" in printed
    assert "At 10 W absorbed, as given." in printed
    assert told["fat_kind"] == "average_infiltrated"
    assert "manual" in told["cautions"][0]


def test_several_changes_are_made_together(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["--tilt-along", "back=3", "--around", "back=10", "--power", "8", "--minutes", "12"]
    assert main(["what-if", case, *asked, "--json", "-"]) == 0
    told = json.loads(capsys.readouterr().out)
    for words in ("tilt along +3.0°", "shifted +10 mm around", "8 W instead of 10 W", "12 min instead of"):
        assert words in told["asked"]
    assert told["outcome"]["minute"][-1] == 12


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        (["--gap", "front=8"], 'there is no panel "front"; allowed: back'),
        (["--gap", "back=near"], "write PANEL=VALUE with a number"),
        (["--tilt-along", "nan"], "write PANEL=VALUE with a number"),
        (["--gap", "0.2"], "panel[0].gap_mm = 0.2"),
        (["--power", "0"], "allowed: above 0 W"),
        (["--minutes", "-3"], "allowed: above 0 min"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(
    case: str, asked: list[str], sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "answer.json"
    assert main(["what-if", case, *asked, "--json", str(file)]) == 2
    assert sentence in capsys.readouterr().err
    assert not file.exists()
