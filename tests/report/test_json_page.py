"""docs/forecast_json.md names every key that a forecast writes, and no other."""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from evenfield.case import PowerKind
from evenfield.cli.forecast import json_text
from evenfield.forecast import Forecast
from tests.report.coarse import coarse_forecast

PAGE = (Path(__file__).parents[2] / "docs" / "forecast_json.md").read_text(encoding="utf-8")
ROWS = [line.split("|") for line in PAGE.splitlines() if line.startswith("| `")]
NAMED = {key for row in ROWS for key in re.findall(r"`([^`]+)`", row[1])}
TISSUES = {"skin", "fat", "muscle", "bone", "core"}


@pytest.fixture(scope="module")
def f() -> Forecast:
    return coarse_forecast()


def paths(value: Any, path: str = "") -> Iterator[str]:
    """Where values stand, as the page writes it."""
    if path == "case":
        yield path
    elif isinstance(value, dict):
        for key, part in value.items():
            word = "<tissue>" if key in TISSUES else "<quantile>" if key in {"5", "50", "95"} else key
            yield from paths(part, f"{path}.{word}".lstrip("."))
    elif isinstance(value, list):
        for part in value:
            yield from paths(part, f"{path}[]")
        if not value:
            yield f"{path}[]"
    else:
        yield path


def test_every_key_is_on_the_page_and_the_page_has_no_other(f: Forecast) -> None:
    absorbed = replace(
        f, band=None, case=replace(f.case, session=replace(f.case.session, power_kind=PowerKind.ABSORBED))
    )
    written = {path for one in (f, absorbed) for path in paths(json.loads(json_text(one)))}
    assert written == NAMED


def test_every_row_has_its_meaning() -> None:
    assert all(len(row) == 5 and len(row[3].strip()) > 3 for row in ROWS)


def test_the_document_is_strict_json(f: Forecast) -> None:
    def refuse(constant: str) -> None:
        raise AssertionError(constant)

    assert json.loads(json_text(f), parse_constant=refuse)["title"] == f.case.title
    broken = replace(f, error_estimate=float("nan"))
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_text(broken)
