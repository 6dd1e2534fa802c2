"""House rules about code: a file's size and name, no clock in the engine, no stopwatch in the tests."""

import ast
import re
from pathlib import Path

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


def _calls_of_chance(path: Path) -> list[str]:
    return re.findall(r"\bnp\.random\.(?!Generator\b)\w+", path.read_text(encoding="utf-8"))


def _of_the_engine(path: Path) -> bool:
    below = path.relative_to(ROOT / "src" / "evenfield").parts
    return below[0].removesuffix(".py") in ENGINE


def test_there_is_code_to_check() -> None:
    assert SOURCES
    assert TESTS


def test_a_file_holds_one_idea() -> None:
    lines = {
        name(path): path.read_text(encoding="utf-8").count("\n")
        for path in SOURCES + TESTS + inside("bench") + inside("scripts")
    }
    too_long = {path: count for path, count in lines.items() if count > LONGEST}
    assert not too_long, "split by idea"


def test_a_name_says_what_is_inside() -> None:
    empty = [
        name(path)
        for path in SOURCES
        if {part.removesuffix(".py") for part in path.relative_to(ROOT).parts} & EMPTY_NAMES
    ]
    assert not empty, "these could hold anything"


def test_the_engine_has_no_clock_and_no_chance_of_its_own() -> None:
    """Randomness comes in as a numpy.random.Generator, time as an argument."""
    banned = {"datetime", "random", "time.time", "numpy.random.default_rng"}
    faults = {
        name(path): found
        for path in SOURCES
        if _of_the_engine(path)
        if (found := sorted(_imported(path) & banned) + _calls_of_chance(path))
    }
    assert not faults


def test_no_test_holds_a_stopwatch() -> None:
    """A timed assertion fails on a busy machine: measure in bench/. Waiting with a limit is fine."""
    stopwatch = re.compile(r"\b(timeit|perf" + r"_counter|process" + r"_time)\b")
    faults = {
        name(path): found[0]
        for path in TESTS
        if path != Path(__file__) and (found := stopwatch.search(path.read_text(encoding="utf-8")))
    }
    assert not faults
