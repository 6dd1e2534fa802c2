"""A few of the kills of `bench.kills`: no acknowledged entry is lost, none doubled, the chain holds."""

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.slow
def test_a_few_kills_while_tablets_write() -> None:
    call = [sys.executable, "-m", "bench.kills", "--count", "2", "--seed", "7"]
    root = Path(__file__).parents[2]
    said = subprocess.run(
        call, cwd=root, capture_output=True, text=True, check=False, env={"PATH": "/usr/bin:/bin"}
    )
    assert said.stdout.startswith("2 kills, "), said.stderr
    assert "0 lost, 0 doubled, chain: holds" in said.stdout
    assert int(said.stdout.split()[2]) >= 9  # three tablets, each answered by each of three servers
