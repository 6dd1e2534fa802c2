"""`evenfield verify` can be read in a narrow terminal and in a wide one."""

import json
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

from evenfield.cli import main
from evenfield.cli.verify import _print
from evenfield.tissue import Label
from evenfield.verify.checks import Check, Kind, Result, Status, Subject

CHECK = Check(
    id="invented_check",
    subject=Subject.DIELECTRIC,
    what="an invented value of some tissue",
    expected=2.0,
    tolerance=0.01,
    kind=Kind.RELATIVE,
    unit="S/m",
    source="invented source of this test",
    label=Label.A,
    run=lambda: 2.1,
)


def test_results_go_into_a_file_as_with_every_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, one = tmp_path / "v.json", ["--select", "burn_44c"]
    assert main(["verify", *one, "--json", str(path)]) == 0
    assert capsys.readouterr().out.endswith(f"Written: {path}\n")
    kept = json.loads(path.read_text(encoding="utf-8"))
    for more in ([], ["-"]):
        assert main(["verify", *one, "--json", *more]) == 0
        printed = json.loads(capsys.readouterr().out)
        assert [c["got"] for c in printed] == [c["got"] for c in kept]
    assert main(["verify", str(path)]) == 2
    assert "only written with --json" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("status", [Status.PASSED, Status.FAILED])
def test_a_narrow_terminal_gets_whole_words(status: Status) -> None:
    out = StringIO()
    _print([Result(CHECK, 2.1, status, 0.0)], Console(file=out, width=80, highlight=False))
    lines = [line.strip() for line in out.getvalue().splitlines()]
    assert "an invented value of some tissue (invented_check)" in lines
    assert f"invented source of this test [{CHECK.label.value}]" in lines
    assert " ".join(lines).count(f"{status.value}: expected 2 S/m, got 2.1, error +5 %, tolerance ± 1 %") == 1
    assert max(map(len, out.getvalue().splitlines())) <= 80


def test_a_wide_terminal_gets_the_table() -> None:
    out = StringIO()
    _print([Result(CHECK, 2.1, Status.PASSED, 0.0)], Console(file=out, width=160, highlight=False))
    (row,) = [line for line in out.getvalue().splitlines() if "an invented value" in line]
    assert "2 S/m" in row
    assert "passed" in row
