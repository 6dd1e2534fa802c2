"""House rules about what is written: decisions, changelog, version, no paths of a machine."""

import re
import tomllib
from pathlib import Path

import pytest

import evenfield
from tests.house.tree import ROOT, files, inside, name, text

DECISIONS = [path for path in inside("docs/decisions", ".md") if path.name != "index.md"]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
# Written in pieces, so that this file does not name them itself.
PLACES_OF_A_MACHINE = [
    r"(?<![\w.<>-])/" + folder + r"/\w"
    for folder in ("work", "root", "home", "opt/" + "pypi", "opt/" + "wheels")
] + [r"\." + "library/", r"(?<!\w)shared/" + r"(house|physics|practice|style|check_values|cole_cole)"]
PACKAGE_HOSTS = [
    re.escape(".".join(parts))
    for parts in [
        ("pypi", "org"),
        ("pythonhosted", "org"),
        ("npmjs", "org"),
        ("npmjs", "com"),
        ("deb", "debian", "org"),
        ("anaconda", "org"),
        ("yarnpkg", "com"),
        ("unpkg", "com"),
        ("jsdelivr", "net"),
        ("cdnjs", "cloudflare", "com"),
    ]
]
FOREIGN = re.compile("|".join(PLACES_OF_A_MACHINE + PACKAGE_HOSTS))


def test_there_are_decisions() -> None:
    assert DECISIONS


@pytest.mark.parametrize("path", DECISIONS, ids=name)
def test_a_decision_says_what_was_rejected(path: Path) -> None:
    page = path.read_text(encoding="utf-8")
    assert re.match(r"\d{4}-[a-z0-9-]+\.md$", path.name), f"{name(path)}: name it NNNN-title.md"
    assert page.startswith("# "), f"{name(path)}: the first line is the title"
    rejected = re.search(r"^## Rejected\n+(.+)", page, re.MULTILINE)
    assert rejected, f"{name(path)}: a '## Rejected' section with what was not chosen and why"


def test_decisions_have_one_number_each() -> None:
    numbers = [path.name[:4] for path in DECISIONS]
    assert len(numbers) == len(set(numbers)), numbers


def test_the_changelog_has_room_for_the_next_change() -> None:
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.search(r"^## Unreleased$", changelog, re.MULTILINE)


def test_there_is_one_version() -> None:
    assert evenfield.__version__ == PROJECT["version"]


def test_no_file_names_a_machine_or_a_package_host() -> None:
    faults = {name(path): found[0] for path in files() if (found := FOREIGN.search(text(path) or ""))}
    assert not faults


@pytest.mark.parametrize(
    "line",
    [
        "/" + "work/main/src",
        "--find-links /" + "opt/wheels/x",
        "see ." + "library/env",
        "see shared" + "/house.md",
        "https://pypi" + ".org/simple",
    ],
)
def test_the_search_for_foreign_names_finds_them(line: str) -> None:
    assert FOREIGN.search(line)


@pytest.mark.parametrize("line", ["a network/shared folder", "src/work/x", "W/(m3K)", "docs/decisions"])
def test_the_search_for_foreign_names_leaves_the_rest(line: str) -> None:
    assert not FOREIGN.search(line)
