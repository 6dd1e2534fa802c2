"""One real forecast for the tests of report and command line: the example's upper arm on a coarse grid.

What is tested is how results are told, not how exact they are; the grid's cells are twice as long as usual.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

from evenfield.case import read_case
from evenfield.forecast import Forecast, forecast
from evenfield.grid.layout import Spacing, make_layout
from evenfield.heat.power import PowerCurve

EXAMPLES = Path(__file__).parents[2] / "examples"


@cache
def coarse_forecast() -> Forecast:
    """Made once per process: 12 min at 60 W, then 3 min without power."""
    case = read_case(EXAMPLES / "upper_arm.toml")
    session = replace(case.session, power=PowerCurve.constant(60.0, 720.0), after_s=180.0, picture_s=720.0)
    case = replace(case, session=session)
    return forecast(case, layout=make_layout(case.region, case.placed, Spacing(scale=2.0)))
