"""A plan's model on a grid four times as coarse as the forecast's: quick, and good enough for what is not
judged against full order here (that is `bench.follow_judge` and its small copy in test_judged.py)."""

from dataclasses import replace
from pathlib import Path

import pytest

from evenfield.case import Case, read_case
from evenfield.follow import FollowModel, prepare
from evenfield.forecast.accuracy import chosen_layout

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="session")
def arm() -> Case:
    case = read_case(EXAMPLES / "upper_arm.toml")
    return replace(case, session=replace(case.session, band_c=(40.0, 43.0)))


@pytest.fixture(scope="session")
def model(arm: Case) -> FollowModel:
    layout = chosen_layout(arm.region, arm.placed).coarser().coarser()
    return prepare(arm, layout=layout)
