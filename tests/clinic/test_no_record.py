"""A mistyped data directory is told in one sentence, and none is made."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

COMMANDS = [("replay", "1"), ("audit", "verify"), ("backup", "--to", "copy"), ("recover", "owner")]


@pytest.mark.parametrize(
    ("words", "there"),
    [(words, there) for words in COMMANDS for there in (False, True)] + [(("doctor",), False)],
)
def test_no_record_is_one_sentence(words: tuple[str, ...], there: bool, tmp_path: Path) -> None:
    home = tmp_path / "mistyped"
    if there:
        home.mkdir()
    run = subprocess.run(
        [sys.executable, "-m", "evenfield", *words, "--home", str(home)],
        cwd=tmp_path,
        env={k: v for k, v in os.environ.items() if k not in ("DATABASE_URL", "DJANGO_SETTINGS_MODULE")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 2
    assert run.stdout == ""
    assert run.stderr.strip() == f"{home} holds no clinic's record; name its data directory with --home."
    assert home.exists() == there
    assert not (tmp_path / "copy").exists()
