"""Examples as heat problems, on the default grid and on the nested one twice as coarse."""

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

EXAMPLES = Path(__file__).parents[2] / "examples"


@dataclass(frozen=True)
class Body:
    """An example's case, and its heat problem on one grid. `watts`: what it absorbs."""

    case: Case
    setting: Setting
    field: Field
    model: Bioheat
    zones: Zones

    @property
    def watts(self) -> float:
        return max(self.case.session.absorbed()[1].watts)


def on_grid(case: Case, layout: Layout) -> Body:
    setting = setting_of(case)
    field = solve_field(
        fit(layout, case.region, case.placed), setting.materials, [p.panel.drive for p in case.placed]
    )
    zones = make_zones(field.grid, case.placed, case.measurements.kind.trunk)
    return Body(case, setting, field, bioheat_of(case, setting, field), zones)


def coarse(example: str) -> Body:
    """An example on the nested coarse grid."""
    case = read_case(EXAMPLES / f"{example}.toml")
    return on_grid(case, chosen_layout(case.region, case.placed).coarser())


@pytest.fixture(scope="session")
def coarse_arm() -> Body:
    return coarse("upper_arm")


@pytest.fixture(scope="session")
def coarse_abdomen() -> Body:
    return coarse("abdomen")


@pytest.fixture(scope="session")
def fine_arm() -> Body:
    case = read_case(EXAMPLES / "upper_arm.toml")
    return on_grid(case, chosen_layout(case.region, case.placed))
