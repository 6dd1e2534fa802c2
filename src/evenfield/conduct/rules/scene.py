"""What a rule sees, and what it may answer with.

A rule is a pure function of a `Scene`: the state, the profile and the estimate. It is not told what time it
is; it says from when and until when its proposal holds. So the moments at which prompts can change are known
beforehand, which is what makes a replay complete.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

from evenfield.conduct.actions import Action
from evenfield.conduct.estimate import Estimate, ZoneEstimate
from evenfield.conduct.events import Answer, Feeling
from evenfield.conduct.profile import Numbers, PracticeProfile
from evenfield.conduct.state import Mark, Place, Reading, Reply, State, latest

BAD_FEELINGS = frozenset({Feeling.ACHE, Feeling.PAIN, Feeling.STINGING, Feeling.NUMBNESS})


@dataclass(frozen=True)
class Proposal:
    """What one rule would ask for.

    ``trigger`` is the id of the event it answers to (with the id of what it is about, where one event stands
    for several). It holds from ``show_s`` until ``until_s``; up to ``quiet_until_s`` it is not shown but
    still keeps heat from being added. The countdown runs to ``due_s``; ``values`` fill the rule's words;
    ``suggested`` is the number named to be entered, where one is (W of power, mm of a move).
    """

    trigger: str
    show_s: float
    until_s: float = math.inf
    quiet_until_s: float = -math.inf
    due_s: float | None = None
    place: Place | None = None
    values: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    suggested: float | None = None


@dataclass(frozen=True)
class Scene:
    """State, profile and estimate, fresh or stale, with the questions that several rules ask of them."""

    state: State
    profile: PracticeProfile
    estimate: Estimate | None = None
    stale: Estimate | None = None

    @cached_property
    def warning_zones(self) -> tuple[ZoneEstimate, ...]:
        """Zones of the estimate while the field is on. Of a stale one, those in which nothing was read and
        for which no heat was taken away since: what it warned of stands until it is known to have passed."""
        if not self.state.field_on:
            return ()
        if self.estimate is not None or self.stale is None:
            return () if self.estimate is None else self.estimate.zones
        at_s, relief, readings = self.stale.at_s, self.state.last_relief, self.state.readings
        if relief is not None and relief.at_s >= at_s:
            return ()
        return tuple(
            zone for zone in self.stale.zones if zone.zone not in readings or readings[zone.zone].at_s < at_s
        )

    @property
    def band_c(self) -> tuple[float, float]:
        """Band for fat, °C: the plan's, else the profile's."""
        own = self.n.fat_band_low_c.value, self.n.fat_band_high_c.value
        return self.state.band_c or own

    @property
    def n(self) -> Numbers:
        """The profile's numbers."""
        return self.profile.numbers

    @property
    def may_be_on(self) -> bool:
        """Whether the field may be on: a start not entered is no reason not to listen to the person."""
        return self.state.paused is None and self.state.stopped is None

    @cached_property
    def _done(self) -> Mapping[str, Reply]:
        return {r.prompt.partition(":")[0]: r for r in self.state.replies if r.answer is Answer.DONE}

    def last_done(self, rule: str) -> Mark | None:
        """The last time a prompt of this rule was answered "done"."""
        return self._done.get(rule)

    @property
    def tuning_low(self) -> bool:
        """Whether the last tuning shown is below the threshold."""
        tuning = self.state.tuning
        return tuning is not None and tuning.value < self.n.tuning_least_percent.value

    @property
    def comfort_low(self) -> bool:
        """Whether the last comfort told is low."""
        comfort = self.state.comfort
        return comfort is not None and comfort.value <= self.n.comfort_low.value

    @property
    def feels_bad(self) -> bool:
        """Whether the last sensation told was ache, pain, stinging or numbness, or the person was unwell."""
        said = self.state.sensation
        return said is not None and (said.feeling in BAD_FEELINGS or said.feeling is Feeling.UNWELL)

    @property
    def skin_not_fine(self) -> bool:
        """Whether the skin, when last looked at, was too red, blistered or broken."""
        look = self.state.look
        return look is not None and (look.broken or (look.redness or 0) >= self.n.redness_keep_off.value)

    @property
    def reading_over(self) -> bool:
        """Whether a zone's last skin reading is at or over the limit."""
        limit = self.n.skin_limit_c.value
        return any(reading.value >= limit for reading in self.state.readings.values())

    @property
    def reports(self) -> tuple[Mark, ...]:
        """What is known to trouble the person or the skin, by its last report."""
        state, limit = self.state, self.n.skin_limit_c.value
        found: list[Mark | None] = [spot.last for spot in state.open_spots]
        found += [reading for reading in state.readings.values() if reading.value >= limit]
        found.append(None if state.all_over is None else state.all_over.last)
        found.append(state.comfort if self.comfort_low else None)
        found.append(state.sensation if self.feels_bad else None)
        return tuple(mark for mark in found if mark is not None)

    @property
    def heat_trouble(self) -> bool:
        """Whether heat is known to trouble the person or the skin."""
        return bool(self.reports) or self.skin_not_fine

    def unseen_since(self, since: Mark) -> Mark | None:
        """The last report of trouble after ``since``, else that itself; None if the skin was seen later."""
        last = latest((since, *(report for report in self.reports if report.at_s >= since.at_s)))
        look = self.state.look
        return last if last is not None and (look is None or look.at_s < last.at_s) else None

    @property
    def calm(self) -> bool:
        """Whether nothing known speaks against more power."""
        refused = bool(self.state.refusals) and not self.state.waited
        return self.state.field_on and not (self.heat_trouble or self.tuning_low or refused)

    def repeated(self, rule: str, read: Reading | None = None) -> tuple[str, float, float]:
        """Trigger, start and end of quiet for a rule that watches the estimate.

        It answers to the operator's last change or to the last answer given to it: "done", or the reading
        that it asks for. It keeps quiet for a while after such an answer or after heat was taken away, since
        what was done needs time to show, unless heat was added since.
        """
        change, relief = self.state.last_change, self.state.last_relief
        answered = latest((self.last_done(rule), read))
        anchor = latest((change, answered))
        if anchor is None:
            estimate = self.estimate or self.stale
            at_s = 0.0 if estimate is None else estimate.at_s
            return "visit", at_s, at_s
        rest = latest((answered, relief))
        added = None if change == relief else change
        if rest is None or (added is not None and added.at_s > rest.at_s):
            return anchor.id, anchor.at_s, anchor.at_s
        return anchor.id, anchor.at_s, rest.at_s + 60 * self.n.estimate_repeat_minutes.value


@dataclass(frozen=True)
class Rule:
    """A rule as code: its id, what it asks for, when it speaks, and the kind of event that answers it."""

    id: str
    action: Action
    propose: Callable[[Scene], Iterable[Proposal]]
    entry: str | None = None
