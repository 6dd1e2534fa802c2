"""A short round limb of an invented client on a coarse grid, and its small ensemble."""

from collections.abc import Iterator

import pytest

from evenfield.case import Case, case_from_toml
from evenfield.tolerance.parallel import Runner, runner

LIMB = """
title = "Round arm of an invented client"
[region]
kind = "upper_arm"
levels_mm = [-80, 80]
girth_mm = [300, 300]
fat_mm = 15
[[panel]]
name = "inner"
angle_deg = 90
width_mm = 90
length_mm = 120
gap_mm = 12
drive = 1
[[panel]]
name = "outer"
angle_deg = 270
width_mm = 90
length_mm = 120
gap_mm = 12
drive = -1
[session]
power_w = 28
minutes = 20
"""


@pytest.fixture(scope="session")
def limb() -> Case:
    return case_from_toml(LIMB)


@pytest.fixture(scope="session")
def here() -> Iterator[Runner]:
    with runner(1) as work:
        yield work
