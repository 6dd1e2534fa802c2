"""docs/case_file.md says what the code does: every key, every default, every limit."""

from pathlib import Path

import pytest
from pydantic import BaseModel

from evenfield.body import PLAUSIBLE, RegionKind
from evenfield.case import case_from_toml, defaults
from evenfield.case.limits import LIMITS, bone_limit, fat_limit, girth_limit
from evenfield.case.schema import (
    CaseFile,
    PanelSection,
    RegionSection,
    RoomSection,
    SessionSection,
    TissueSection,
)

PAGE = (Path(__file__).parents[2] / "docs" / "case_file.md").read_text(encoding="utf-8")
SECTIONS: dict[str, type[BaseModel]] = {
    "region": RegionSection,
    "room": RoomSection,
    "panel": PanelSection,
    "session": SessionSection,
    "tissue": TissueSection,
}


def shown(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name} {part:g}" for name, part in value.items())
    if isinstance(value, list):
        return ", ".join(f"{part:g}" for part in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def row_of_key(key: str) -> str:
    """One line of the table of defaults and limits: key, allowed, default, label, where from."""
    limit = LIMITS.get(key)
    allowed = f"{limit.low:g} to {limit.high:g}" if limit else "–"
    default = defaults.default(key, RegionKind.UPPER_ARM)
    return f"| `{key}` | {allowed} | {shown(default.value)} | {default.label} | {default.source} |"


def row_of_kind(kind: RegionKind) -> str:
    """One line of the table by kind of region: girth, fat and bone allowed, and what stands in."""
    facts = PLAUSIBLE[kind]
    girth, fat, bone = girth_limit(kind), fat_limit(kind), bone_limit(kind)
    cells = [
        f"`{kind}`",
        f"{girth.low:g} to {girth.high:g}",
        f"{fat.low:g} to {fat.high:g}",
        "–" if kind.trunk else f"{bone.low:g} to {bone.high:g}",
        f"{1e3 * facts.fat.value:g} ({facts.fat.label})",
        "–" if kind.trunk else f"{1e3 * facts.bone_radius.value:g} ({facts.bone_radius.label})",
        f"{facts.width_to_depth.value:g} ({facts.width_to_depth.label})",
    ]
    return f"| {' | '.join(cells)} |"


@pytest.mark.parametrize("key", defaults.KEYS)
def test_defaults_and_limits_are_in_the_page(key: str) -> None:
    assert row_of_key(key) in PAGE


@pytest.mark.parametrize("kind", list(RegionKind))
def test_kinds_are_in_the_page(kind: RegionKind) -> None:
    assert row_of_kind(kind) in PAGE


@pytest.mark.parametrize("section", list(SECTIONS))
def test_every_key_is_named(section: str) -> None:
    assert section in CaseFile.model_fields
    for key in SECTIONS[section].model_fields:
        assert f"`{section}.{key}`" in PAGE, key


def test_the_case_file_in_the_page_is_good() -> None:
    block = PAGE.split("```toml\n")[1].split("```")[0]
    assert case_from_toml(block).panels[0].name == "inner"
