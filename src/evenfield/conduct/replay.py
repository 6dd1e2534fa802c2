"""Replay of a stored visit: the prompts at every moment at which they changed."""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence

from evenfield.conduct.advice import Advice, Prompt, advise, prompt_to_mapping
from evenfield.conduct.estimate import Estimate
from evenfield.conduct.events import Event
from evenfield.conduct.profile import PracticeProfile


def replay(
    events: Iterable[Event],
    profile: PracticeProfile,
    estimates: Iterable[Estimate] = (),
    until_s: float | None = None,
) -> list[tuple[float, tuple[Prompt, ...]]]:
    """``(now, prompts)`` at the first moment and whenever the prompts differ from those before.

    Between two moments listed the prompts stay what they were, so that `advise` at any time in between
    gives the last listed ones. Ends at ``until_s``, by default the last event or estimate.
    """
    shown: list[tuple[float, tuple[Prompt, ...]]] = []
    for advice in moments(events, profile, estimates, until_s):
        if not shown or shown[-1][1] != advice.prompts:
            shown.append((advice.now_s, advice.prompts))
    return shown


def moments(
    events: Iterable[Event],
    profile: PracticeProfile,
    estimates: Iterable[Estimate] = (),
    until_s: float | None = None,
) -> Iterator[Advice]:
    """The advice at every event, estimate and moment at which a rule begins or ends to speak."""
    stored = tuple(events)
    by_time = sorted(estimates, key=lambda estimate: estimate.at_s)
    estimate_times = [estimate.at_s for estimate in by_time]
    given = sorted({event.known_s for event in stored} | set(estimate_times))
    if not given:
        return
    end_s = given[-1] if until_s is None else until_s
    now_s = given[0]
    while now_s <= end_s:
        advice = advise(stored, profile, _last(by_time, estimate_times, now_s), now_s)
        yield advice
        later = bisect_right(given, now_s)
        now_s = min([advice.next_change_s, *given[later : later + 1]])


def _last(by_time: Sequence[Estimate], times: Sequence[float], now_s: float) -> Estimate | None:
    index = bisect_right(times, now_s)
    return by_time[index - 1] if index else None


def replay_to_json(shown: Iterable[tuple[float, tuple[Prompt, ...]]]) -> str:
    """A replay as JSON text; the same visit gives the same bytes."""
    rows = [
        {"now_s": round(float(now_s), 3), "prompts": [prompt_to_mapping(prompt) for prompt in prompts]}
        for now_s, prompts in shown
    ]
    return json.dumps(rows, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
