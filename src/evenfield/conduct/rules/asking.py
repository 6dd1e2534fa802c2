"""Rules on asking and reading: comfort throughout, skin readings, what one near the limit asks for."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from evenfield.conduct.actions import Action
from evenfield.conduct.rules.scene import Proposal, Rule, Scene
from evenfield.conduct.state import Level, Place, latest


def _comfort(scene: Scene) -> Iterator[Proposal]:
    state = scene.state
    if not state.field_on:
        return
    asked = scene.last_done("comfort_ask")
    anchor = latest((state.started, state.resumed, state.comfort, asked))
    if anchor is None:
        return
    comfort = state.comfort
    wary = scene.feels_bad or (comfort is not None and comfort.value < scene.n.comfort_enough.value)
    wait_s = 60 * scene.n.comfort_interval_minutes.value
    if wary and anchor != asked:
        wait_s = min(wait_s, scene.n.after_check_s.value)
    yield Proposal(anchor.id, anchor.at_s + wait_s)


def _hottest(scene: Scene) -> tuple[str, Level] | None:
    return max(scene.state.readings.items(), key=lambda kv: (kv[1].value, kv[1].at_s, kv[0]), default=None)


def _values(zone: str, reading: Level) -> dict[str, str]:
    return {"zone": zone, "reading": f"{reading.value:.1f}"}


def _over(scene: Scene) -> Iterator[Proposal]:
    found, relief = _hottest(scene), scene.state.last_relief
    if not scene.may_be_on or not scene.reading_over or found is None:
        return
    zone, reading = found
    if relief is None or relief.at_s < reading.at_s:
        yield Proposal(reading.id, reading.at_s, place=Place(zone=zone), values=_values(zone, reading))


def _again(scene: Scene) -> Iterator[Proposal]:
    """Heat was taken away after a reading over the limit: read there again."""
    found, relief = _hottest(scene), scene.state.last_relief
    if not scene.state.field_on or not scene.reading_over or found is None or relief is None:
        return
    zone, reading = found
    if relief.at_s >= reading.at_s:
        anchor = latest((relief, scene.state.resumed, scene.last_done("reading_again"))) or relief
        show_s = anchor.at_s + scene.n.after_check_s.value
        yield Proposal(anchor.id, show_s, place=Place(zone=zone), values=_values(zone, reading))


def _near(scene: Scene) -> Iterator[Proposal]:
    found = _hottest(scene)
    if not scene.state.field_on or scene.reading_over or found is None:
        return
    zone, reading = found
    if reading.value >= scene.n.skin_limit_c.value - scene.n.skin_margin_c.value:
        yield Proposal(reading.id, reading.at_s, place=Place(zone=zone), values=_values(zone, reading))


def _due(scene: Scene) -> Iterator[Proposal]:
    state = scene.state
    if not state.field_on:
        return
    anchor = latest((state.started, *state.readings.values(), scene.last_done("reading_due")))
    if anchor is not None:
        show_s = anchor.at_s + 60 * scene.n.reading_interval_minutes.value
        zone = _next_zone(scene)
        words = "the warmest place" if zone is None else zone
        yield Proposal(
            anchor.id, show_s, place=None if zone is None else Place(zone=zone), values={"zone": words}
        )


def _next_zone(scene: Scene) -> str | None:
    """The zone whose reading is oldest or missing; of several the one that may be hottest."""
    if scene.estimate is None or not scene.estimate.zones:
        return None
    readings = scene.state.readings
    read_s = {zone: reading.at_s for zone, reading in readings.items()}
    first = min(
        scene.estimate.zones,
        key=lambda zone: (read_s.get(zone.zone, -inf), -zone.skin_hottest_c.high, zone.zone),
    )
    return first.zone


RULES = (
    Rule("reading_over", Action.LOWER_POWER, _over, "power_set"),
    Rule("reading_near", Action.ADD_NO_HEAT, _near),
    Rule("reading_again", Action.READ_SKIN, _again, "skin_reading"),
    Rule("comfort_ask", Action.ASK, _comfort, "comfort"),
    Rule("reading_due", Action.READ_SKIN, _due, "skin_reading"),
)
