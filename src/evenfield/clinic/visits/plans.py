"""What the plan of a visit gives the live page: panels with their zones, the band, planned power and time."""

from dataclasses import dataclass
from functools import lru_cache
from math import degrees
from typing import Any

from evenfield.applicator import third_name
from evenfield.applicator.words import edge_sides, sides
from evenfield.body import RegionKind
from evenfield.case import Case, CaseError, PowerKind, case_from_toml


@dataclass(frozen=True)
class LivePlan:
    """`case_text` is empty where no usable plan is saved, and `problem` then says so."""

    case_text: str
    panels: tuple[dict[str, Any], ...]
    places: tuple[dict[str, Any], ...]
    band_c: tuple[float, float] | None
    minutes: float | None
    starting_power_w: float | None
    problem: str

    def as_json(self) -> dict[str, Any]:
        """For the page."""
        return {
            "panels": list(self.panels),
            "places": list(self.places),
            "band_c": self.band_c,
            "minutes": self.minutes,
            "problem": self.problem,
        }


def plan_of(saved: dict[str, Any], region: str) -> LivePlan:
    """The plan saved with a visit; without one the four sides of the region stand in for zones."""
    text = str(saved.get("case") or "")
    if not text:
        return _without(region, "No plan is saved: there is no live estimate.")
    return _read(text, region)


def _without(region: str, problem: str) -> LivePlan:
    names = sides(RegionKind(region).trunk)
    places = tuple({"label": name, "panel": "", "name": name} for name in names)
    return LivePlan("", (), places, None, None, None, problem)


@lru_cache(maxsize=64)
def _read(text: str, region: str) -> LivePlan:
    try:
        case = case_from_toml(text, "the saved plan")
    except CaseError as error:
        return _without(region, f"The saved plan cannot be read: {error}")
    panels = []
    for panel in case.panels:
        edges = edge_sides(panel.angle_rad, case.measurements.kind.trunk)
        zones = [
            {
                "label": f"{panel.name}: {name}",
                "panel": panel.name,
                "name": name,
                "across": across,
                "along": along,
            }
            for along in (2, 1, 0)
            for across in (0, 1, 2)
            if (name := third_name(panel, case.measurements.kind.trunk, across, along))
        ]
        panels.append(
            {
                "name": panel.name,
                "angle_deg": round(degrees(panel.angle_rad)) % 360,
                "width_mm": round(1e3 * panel.width_m),
                "length_mm": round(1e3 * panel.length_m),
                "gap_mm": round(1e3 * panel.gap_m, 1),
                "zones": zones,
                "sides": {
                    "rising_level": "upper",
                    "falling_level": "lower",
                    "falling_angle": edges[0],
                    "rising_angle": edges[1],
                },
            }
        )
    places = tuple(zone for panel in panels for zone in panel["zones"])  # type: ignore[attr-defined]
    return LivePlan(
        case_text=text,
        panels=tuple(panels),
        places=places,
        band_c=case.session.band_c,
        minutes=case.session.power.end_s / 60.0,
        starting_power_w=_first_power(case),
        problem="",
    )


def _first_power(case: Case) -> float | None:
    """The first set power of the plan, W; None where absorbed power was given."""
    if case.session.power_kind is not PowerKind.SET:
        return None
    return next((float(watts) for watts in case.session.power.watts if watts > 0), None)
