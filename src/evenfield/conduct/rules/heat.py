"""Rules on heat that the person feels: hot spots, too hot all over, sensation and comfort."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from evenfield.conduct.actions import Action
from evenfield.conduct.events import Feeling
from evenfield.conduct.rules.scene import BAD_FEELINGS, Proposal, Rule, Scene
from evenfield.conduct.state import Mark, Spot, latest


def _panel(spot: Spot) -> dict[str, str]:
    panel = spot.place.panel or spot.moved_panel
    return {"panel": "the panel" if panel is None else f"panel {panel}"}


def _spot_anchor(scene: Scene, spot: Spot) -> Mark | None:
    """What was last done about an open spot: a panel moved for it, or the field on again after a pause."""
    return latest((spot.moved, scene.state.resumed)) if spot.moved is not None else None


def _spot_move(scene: Scene) -> Iterator[Proposal]:
    if scene.may_be_on:
        for spot in scene.state.open_spots:
            if spot.moved is None:
                yield Proposal(spot.last.id, spot.last.at_s, place=spot.place, values=_panel(spot))


def _spot_ask(scene: Scene) -> Iterator[Proposal]:
    if not scene.may_be_on:
        return
    for spot in scene.state.open_spots:
        anchor = _spot_anchor(scene, spot)
        if anchor is not None and anchor.at_s >= spot.last.at_s:
            show_s = anchor.at_s + scene.n.hot_spot_check_s.value
            yield Proposal(f"{anchor.id}:{spot.first.id}", show_s, place=spot.place, values=_panel(spot))


def _spot_pause(scene: Scene) -> Iterator[Proposal]:
    """It did not go: still open some time after the move, or felt again after it."""
    if not scene.may_be_on:
        return
    for spot in scene.state.open_spots:
        anchor = _spot_anchor(scene, spot)
        if anchor is None:
            continue
        if spot.last.at_s > anchor.at_s:
            yield Proposal(
                f"{spot.last.id}:{spot.first.id}", spot.last.at_s, place=spot.place, values=_panel(spot)
            )
        else:
            show_s = anchor.at_s + scene.n.hot_spot_give_up_s.value
            yield Proposal(f"{anchor.id}:{spot.first.id}", show_s, place=spot.place, values=_panel(spot))


def _spot_return(scene: Scene) -> Iterator[Proposal]:
    if not scene.state.field_on:
        return
    for spot in scene.state.spots:
        if spot.gone is not None:
            show_s = spot.gone.at_s + 60 * scene.n.hot_spot_wait_minutes.value
            known = spot.moved_mm > 0
            moved = f"{spot.moved_mm:g} mm" if known else "as far as it was moved"
            yield Proposal(
                f"{spot.gone.id}:{spot.first.id}",
                show_s,
                place=replace(
                    spot.place,
                    panel=spot.moved_panel or spot.place.panel,
                    side=spot.moved_side or spot.place.side,
                ),
                values={**_panel(spot), "moved": moved},
                suggested=-spot.moved_mm if known else None,
            )


def _all_over_act(scene: Scene) -> Iterator[Proposal]:
    held = scene.state.all_over
    if scene.may_be_on and held is not None and held.acted is None:
        yield Proposal(held.last.id, held.last.at_s)


def _all_over_again(scene: Scene) -> Iterator[Proposal]:
    held = scene.state.all_over
    if scene.may_be_on and held is not None and held.acted is not None and held.last.at_s > held.acted.at_s:
        yield Proposal(held.last.id, held.last.at_s)


def _all_over_ask(scene: Scene) -> Iterator[Proposal]:
    held = scene.state.all_over
    if not scene.may_be_on or held is None or held.acted is None or held.last.at_s > held.acted.at_s:
        return
    asked = scene.last_done("all_over_ask")
    anchor = latest((held.acted, scene.state.resumed, asked)) or held.acted
    wait_s = 60 * scene.n.comfort_interval_minutes.value if anchor == asked else scene.n.after_check_s.value
    yield Proposal(anchor.id, anchor.at_s + wait_s)


def _comfort_low(scene: Scene) -> Iterator[Proposal]:
    comfort, relief = scene.state.comfort, scene.state.last_relief
    if not (scene.may_be_on and scene.comfort_low and comfort is not None):
        return
    if relief is None or relief.at_s < comfort.at_s:
        yield Proposal(comfort.id, comfort.at_s, values={"comfort": f"{comfort.value:g}"})


def _said(scene: Scene, feelings: frozenset[Feeling], answered: Mark | None) -> Iterator[Proposal]:
    said = scene.state.sensation
    if not scene.may_be_on or said is None or said.feeling not in feelings:
        return
    if answered is None or answered.at_s < said.at_s:
        yield Proposal(said.id, said.at_s, values={"feeling": said.feeling.replace("_", " ").capitalize()})


def _feels(scene: Scene, feelings: frozenset[Feeling]) -> Iterator[Proposal]:
    """The last sensation is one of these and nothing was eased since."""
    yield from _said(scene, feelings, scene.state.last_relief)


def _must_pause(scene: Scene, feelings: frozenset[Feeling]) -> Iterator[Proposal]:
    """Only the field off answers these; less power does not."""
    yield from _said(scene, feelings, scene.state.resumed)


def _unwell(scene: Scene) -> Iterator[Proposal]:
    yield from _must_pause(scene, frozenset({Feeling.UNWELL}))


def _bad(scene: Scene) -> Iterator[Proposal]:
    yield from _must_pause(scene, BAD_FEELINGS)


def _hot(scene: Scene) -> Iterator[Proposal]:
    said, all_over = scene.state.sensation, scene.state.all_over
    located = [spot.last for spot in scene.state.spots] + ([] if all_over is None else [all_over.last])
    if said is not None and all(report.at_s < said.at_s for report in located):
        yield from _feels(scene, frozenset({Feeling.HOT}))


def _uneven(scene: Scene) -> Iterator[Proposal]:
    said, seen = scene.state.sensation, scene.state.panels_seen
    if said is not None and (seen is None or seen.at_s < said.at_s):
        yield from _feels(scene, frozenset({Feeling.UNEVEN_WARMTH}))


def _no_warmth(scene: Scene) -> Iterator[Proposal]:
    said = scene.state.sensation
    if not scene.state.field_on or said is None or said.feeling is not Feeling.NO_WARMTH:
        return
    if all(reading.at_s < said.at_s for reading in scene.state.readings.values()):
        yield Proposal(said.id, said.at_s)


RULES = (
    Rule("feeling_unwell", Action.PAUSE, _unwell, "paused"),
    Rule("feeling_bad", Action.PAUSE, _bad, "paused"),
    Rule("hot_spot_pause", Action.PAUSE, _spot_pause, "paused"),
    Rule("hot_spot_move", Action.MOVE_AWAY, _spot_move, "panel_moved"),
    Rule("all_over_again", Action.LOWER_POWER, _all_over_again, "power_set"),
    Rule("all_over_act", Action.LOWER_POWER, _all_over_act, "power_set"),
    Rule("comfort_low", Action.LOWER_POWER, _comfort_low, "power_set"),
    Rule("feeling_hot", Action.ADD_NO_HEAT, _hot, "hot_spot"),
    Rule("hot_spot_ask", Action.ASK, _spot_ask, "hot_spot_gone"),
    Rule("all_over_ask", Action.ASK, _all_over_ask, "comfort"),
    Rule("feeling_uneven", Action.CHECK_PLACEMENT, _uneven, "panel_moved"),
    Rule("no_warmth", Action.READ_SKIN, _no_warmth, "skin_reading"),
    Rule("hot_spot_return", Action.MOVE_BACK, _spot_return, "panel_moved"),
)
