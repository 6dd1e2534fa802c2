"""scripts/check_lock.py finds each way in which a lock can be out of date, and our own locks are fresh."""

import re

import pytest
from packaging.requirements import Requirement

from scripts.check_lock import problems, project_problems, read_lock
from tests.house.tree import ROOT

LOCK = """\
alpha==1.4 \\
    --hash=sha256:00
    # via evenfield (pyproject.toml)
beta-two==2.0 ; python_version < "3.13" \\
    --hash=sha256:00
    # via alpha
gamma==3.0 \\
    --hash=sha256:00
    # via
    #   alpha
    #   evenfield (pyproject.toml:dev)
"""


@pytest.mark.parametrize(
    ("lock", "wanted", "says"),
    [
        (LOCK, ["alpha>=1", "gamma"], None),
        (LOCK, ["Alpha>=1", "gamma", "Beta_Two"], None),
        (LOCK, ["alpha>=1", "gamma", "delta"], "lacks delta"),
        (LOCK, ["alpha>=2", "gamma"], "has alpha 1.4, but pyproject.toml wants alpha>=2"),
        (LOCK, ["alpha"], "has gamma for a requirement that pyproject.toml no longer states"),
        (
            LOCK.replace("    --hash=sha256:00\n    # via alpha", "    # via alpha"),
            ["alpha", "gamma"],
            "no hash for beta-two",
        ),
    ],
)
def test_a_lock_is_checked(lock: str, wanted: list[str], says: str | None) -> None:
    found = problems(map(Requirement, wanted), read_lock(lock), "the lock")
    assert found == [] if says is None else len(found) == 1 and says in found[0]


def test_the_project_locks_are_fresh() -> None:
    assert project_problems(ROOT) == []


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-dev.lock"])
def test_a_lock_holds_pins_and_hashes_only(lock: str) -> None:
    """No host, no path, no option: a line is a pin, a hash, or a comment on who asked for it."""
    for line in (ROOT / lock).read_text(encoding="utf-8").splitlines():
        assert re.fullmatch(
            r"[a-z0-9._-]+==\S+( ; .+)? \\|    --hash=sha256:[0-9a-f]{64}( \\)?| +# .*|# .*|", line
        ), line
        assert "//" not in line
