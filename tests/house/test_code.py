"""House rules about code: a file's size and name, no clock in the engine, no stopwatch in the tests."""

import ast
import re
from pathlib import Path

import pytest

from tests.house.tree import ROOT, inside, name

SOURCES = inside("src")
TESTS = inside("tests")
LONGEST = 800
EMPTY_NAMES = {"utils", "util", "helpers", "helper", "common", "manager", "managers", "misc"}
ENGINE = (
    "tissue",
    "body",
    "applicator",
    "grid",
    "field",
    "heat",
    "dose",
    "case",
    "forecast",
    "conduct",
    "outcome",
)


def _imported(path: Path) -> set[str]:
    """The modules a file imports, and the names it takes out of them, dotted."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def _of_the_engine(path: Path) -> bool:
    below = path.relative_to(ROOT / "src" / "evenfield").parts
    return below[0].removesuffix(".py") in ENGINE


def test_there_is_code_to_check() -> None:
    assert SOURCES
    assert TESTS


@pytest.mark.parametrize("path", SOURCES + TESTS + inside("bench") + inside("scripts"), ids=name)
def test_a_file_holds_one_idea(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").count("\n")
    assert lines <= LONGEST, f"{name(path)} has {lines} lines; split it by idea"


@pytest.mark.parametrize("path", SOURCES, ids=name)
def test_a_name_says_what_is_inside(path: Path) -> None:
    parts = {part.removesuffix(".py") for part in path.relative_to(ROOT).parts}
    assert not parts & EMPTY_NAMES, f"{name(path)} could hold anything"


@pytest.mark.parametrize("path", [path for path in SOURCES if _of_the_engine(path)], ids=name)
def test_the_engine_has_no_clock_and_no_chance_of_its_own(path: Path) -> None:
    taken = _imported(path)
    assert not taken & {"datetime", "random", "time.time", "numpy.random.default_rng"}, name(path)
    calls = re.findall(r"\bnp\.random\.(?!Generator\b)\w+", path.read_text(encoding="utf-8"))
    assert not calls, f"{name(path)}: randomness comes in as a numpy.random.Generator, not from {calls}"


@pytest.mark.parametrize("path", TESTS, ids=name)
def test_no_test_holds_a_stopwatch(path: Path) -> None:
    """A timed assertion fails on a busy machine. Waiting with a limit is fine."""
    stopwatches = {"timeit", "time.perf_counter", "time.perf_counter_ns", "time.process_time"}
    assert not _imported(path) & stopwatches, f"{name(path)}: measure speed in bench/"
    if path != Path(__file__):
        assert "perf_counter" not in path.read_text(encoding="utf-8"), (
            f"{name(path)}: measure speed in bench/"
        )
