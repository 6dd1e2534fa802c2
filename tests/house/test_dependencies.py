"""What the code imports is what pyproject.toml asks for, and each of those has its line of reason."""

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.house.tree import ROOT, inside, name

PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
EXTRAS = PYPROJECT["project"].get("optional-dependencies", {})
TO_RUN = [PYPROJECT["project"]["dependencies"], *EXTRAS.values()]
ALL = [*TO_RUN, *PYPROJECT["dependency-groups"].values()]
OURS = {"evenfield", "tests", "scripts", "bench"}
REASONS = (ROOT / "docs" / "dependencies.md").read_text(encoding="utf-8")


def _names(groups: list[list[str]]) -> set[str]:
    return {canonicalize_name(Requirement(line).name) for lines in groups for line in lines}


def _top_level_imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.partition(".")[0])
    return found - OURS - set(sys.stdlib_module_names)


def _undeclared(paths: list[Path], declared: set[str]) -> dict[str, set[str]]:
    """Per file the imported modules that no declared package brings."""
    brought_by = packages_distributions()
    faults: dict[str, set[str]] = {}
    for path in paths:
        for module in _top_level_imports(path):
            if not declared & {canonicalize_name(package) for package in brought_by.get(module, [])}:
                faults.setdefault(name(path), set()).add(module)
    return faults


def test_the_package_imports_what_an_installation_brings() -> None:
    assert not _undeclared(inside("src"), _names(TO_RUN))


def test_tests_and_tools_import_what_development_brings() -> None:
    assert not _undeclared(inside("tests") + inside("bench") + inside("scripts"), _names(ALL))


def test_each_dependency_has_its_reason() -> None:
    without = [
        package
        for package in _names(ALL)
        if not re.search(rf"^\| {re.escape(package)} \| \S.{{15,}} \|$", REASONS, re.MULTILINE)
    ]
    assert not without, "each needs its line in docs/dependencies.md"


def test_no_reason_outlives_its_dependency() -> None:
    named = re.findall(r"^\| (?!package \|)([A-Za-z0-9][\w.-]*) \| ", REASONS, re.MULTILINE)
    assert set(named) <= _names(ALL)
    assert len(named) == len(set(named))
