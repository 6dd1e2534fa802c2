"""The example's upper arm as a heat problem, on the default grid and on the nested one twice as coarse."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from evenfield.case import Case, read_case
from evenfield.field import Field, solve_field
from evenfield.forecast.accuracy import chosen_layout
from evenfield.forecast.engine import Setting, bioheat_of, setting_of
from evenfield.forecast.zones import Zones, make_zones
from evenfield.grid.fit import fit
from evenfield.grid.layout import Layout
from evenfield.heat.bioheat import Bioheat

EXAMPLE = Path(__file__).parents[2] / "examples" / "upper_arm.toml"


@dataclass(frozen=True)
class Arm:
    """The example's case, and its heat problem on one grid. `watts`: what it absorbs."""

    case: Case
    setting: Setting
    field: Field
    model: Bioheat
    zones: Zones

    @property
    def watts(self) -> float:
        return max(self.case.session.absorbed()[1].watts)


def arm_on(layout: Layout, case: Case) -> Arm:
    setting = setting_of(case)
    field = solve_field(
        fit(layout, case.region, case.placed), setting.materials, [p.panel.drive for p in case.placed]
    )
    zones = make_zones(field.grid, case.placed, case.measurements.kind.trunk)
    return Arm(case, setting, field, bioheat_of(case, setting, field), zones)


@pytest.fixture(scope="session")
def coarse_arm() -> Arm:
    case = read_case(EXAMPLE)
    return arm_on(chosen_layout(case.region, case.placed).coarser(), case)


@pytest.fixture(scope="session")
def fine_arm() -> Arm:
    case = read_case(EXAMPLE)
    return arm_on(chosen_layout(case.region, case.placed), case)
