"""One real forecast for the tests of report and command line: the example's upper arm on a coarse grid.

What is tested is how results are told, not how exact they are; the grid's cells are twice as long as usual.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

from evenfield.case import assumptions, case_from_toml, read_case
from evenfield.forecast import Forecast, forecast
from evenfield.grid.layout import Spacing, make_layout
from evenfield.heat.power import PowerCurve

EXAMPLES = Path(__file__).parents[2] / "examples"
BARELY_TOLD = """
region = { kind = "upper_arm", girth_mm = [300] }
panel = [{ angle_deg = 90 }, { angle_deg = 270, drive = -1 }]
"""


def barely_told(f: Forecast) -> Forecast:
    """The same results for a case that leaves open what may be left open, panels named by number, and with a
    cautious bound of the burn integral above 1: the longest report of two panels."""
    case = case_from_toml(BARELY_TOLD)
    number = {"inner": "panel 1", "outer": "panel 2"}
    zones = tuple(
        replace(z, zone=replace(z.zone, panel=number[z.zone.panel]), burn=0.2, burn_cautious=1.6)
        for z in f.zones
    )
    spots = tuple(
        replace(h, place=h.place.replace("the inner panel", "panel 1").replace("the outer panel", "panel 2"))
        for h in f.hottest
    )
    return replace(f, case=case, zones=zones, hottest=spots, assumptions=tuple(map(str, assumptions(case))))


@cache
def coarse_forecast_of_four() -> Forecast:
    """Four small panels round an invented thigh of which little else is told."""
    panels = ", ".join(f"{{ angle_deg = {angle}, width_mm = 60 }}" for angle in (0, 90, 180, 270))
    text = f"""
region = {{ kind = "thigh", levels_mm = [-100, 0, 100], girth_mm = [520, 540, 560] }}
panel = [{panels}]
session = {{ power_w = 60, minutes = 6, after_minutes = 1 }}
"""
    case = case_from_toml(text)
    return forecast(case, layout=make_layout(case.region, case.placed, Spacing(scale=2.5)))


@cache
def coarse_forecast() -> Forecast:
    """Made once per process: 12 min at 60 W, then 3 min without power."""
    case = read_case(EXAMPLES / "upper_arm.toml")
    session = replace(case.session, power=PowerCurve.constant(60.0, 720.0), after_s=180.0, picture_s=720.0)
    case = replace(case, session=session)
    return forecast(case, layout=make_layout(case.region, case.placed, Spacing(scale=2.0)))
