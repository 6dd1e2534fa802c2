"""What a prompt can ask for, and which of these contradict each other.

The one law behind the table: nothing that adds heat is ever asked for beside, or instead of, something that
takes heat away or says hold.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from enum import StrEnum


class Action(StrEnum):
    """What the operator is asked to do."""

    # take heat away
    LOWER_POWER = "lower power"
    PAUSE = "pause"
    MOVE_AWAY = "move away"
    KEEP_OFF = "keep the field off"
    FINISH = "finish"
    # hold
    HOLD = "hold the power"
    ADD_NO_HEAT = "add no heat"
    WAIT = "wait"
    # tasks
    ASK = "ask the person"
    CHECK_TUNING = "check the tuning"
    CHECK_PLACEMENT = "check panels and cables"
    LOOK_AT_SKIN = "look at the skin"
    READ_SKIN = "read skin temperature"
    RECORD = "put the record right"
    # add heat
    RAISE_POWER = "raise power"
    MOVE_BACK = "move back"
    RESUME = "resume"


TAKES_HEAT = frozenset({Action.LOWER_POWER, Action.PAUSE, Action.MOVE_AWAY, Action.KEEP_OFF, Action.FINISH})
HOLDS_HEAT = frozenset({Action.HOLD, Action.ADD_NO_HEAT, Action.WAIT})
ADDS_HEAT = frozenset({Action.RAISE_POWER, Action.MOVE_BACK, Action.RESUME})
TASKS = frozenset(Action) - TAKES_HEAT - HOLDS_HEAT - ADDS_HEAT


def _pairs(ones: Iterable[Action], others: Collection[Action]) -> set[frozenset[Action]]:
    return {frozenset((one, other)) for one in ones for other in others}


# A pair of one action stands for two prompts that ask for it.
CONFLICTS: frozenset[frozenset[Action]] = frozenset(
    _pairs(ADDS_HEAT, TAKES_HEAT)
    # one heat-adding change at a time
    | _pairs(ADDS_HEAT, ADDS_HEAT)
    # "hold" and "wait" speak of power; a panel may still go back and a pause may still end
    | _pairs({Action.RAISE_POWER}, HOLDS_HEAT)
    # skin or feeling near a limit speaks of heat, wherever it comes from
    | _pairs({Action.ADD_NO_HEAT}, ADDS_HEAT)
    # look first, then heat
    | _pairs(ADDS_HEAT, {Action.LOOK_AT_SKIN, Action.CHECK_PLACEMENT})
    | _pairs({Action.RAISE_POWER, Action.MOVE_BACK}, {Action.CHECK_TUNING})
    # with the field off there is nothing to lower, to wait for or to tune
    | _pairs({Action.PAUSE, Action.KEEP_OFF}, {Action.LOWER_POWER, Action.WAIT, Action.CHECK_TUNING})
)


def contradict(one: Action, other: Action) -> bool:
    """Whether two prompts asking for these must not be shown together."""
    return frozenset((one, other)) in CONFLICTS
