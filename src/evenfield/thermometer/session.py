"""From a feed into a running visit: each reading to disk, then to the server."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from contextlib import aclosing
from dataclasses import dataclass, field
from datetime import UTC, datetime

from evenfield.thermometer.outbox import Outbox, WaitingReading
from evenfield.thermometer.reading import Feed, FeedRemark, NoReadingError, SpotReading, made_at, reading_id
from evenfield.thermometer.server import (
    PATIENCE_S,
    ClinicServer,
    SentAnswer,
    ServerAwayError,
    ServerRefusedError,
)
from evenfield.thermometer.table import problem_of

DEFAULT_ERROR_K = 0.5
"""Standard error of a reading of skin: laboratory limit of contactless thermometers 0.3 K (ASTM E1965), and
0.35 K low where skin has an emissivity of 0.95 and the thermometer takes it for 0.98; root of the squares."""
_LONGEST_REST_S = 10.0
_GOODBYE_S = 3.0
_UNFIT = 422

Say = Callable[[str], None]


@dataclass
class FeedRun:
    """One run: `zone` is where readings go that name none; `error_k` the standard error given to each, K.

    `zones` are those the person may change to while it runs.
    """

    feed: Feed
    server: ClinicServer
    outbox: Outbox
    visit: int
    zone: str
    say: Say
    error_k: float = DEFAULT_ERROR_K
    trust_stamp: bool = False
    zones: Sequence[str] = ()
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    first_rest_s: float = 1.0
    saved: int = 0
    refused: int = 0
    _put: asyncio.Event = field(default_factory=asyncio.Event)
    _ended: bool = False
    _trouble_said: str = ""

    async def until_done(self) -> None:
        """Take and send until the feed has ended and nothing waits; cancelled, it leaves what waits on disk.

        Raises `FeedError` where the source cannot be used at all.
        """
        try:
            async with asyncio.TaskGroup() as both:
                both.create_task(self._take_all())
                both.create_task(self._send_all())
        except ExceptionGroup as group:
            raise group.exceptions[0] from None

    def goodbye(self) -> int:
        """One last sending with little patience; how many readings then still wait on disk."""
        try:
            while batch := self.outbox.waiting():
                self._settle(batch, self._enter(batch, _GOODBYE_S))
        except (ServerAwayError, ServerRefusedError) as error:
            self._trouble(error)
        return len(self.outbox.waiting(-1))

    def choose(self, words: str) -> None:
        """Readings from now on go to another zone, named or by its place in `zones` counted from 1."""
        words = words.strip()
        if words.isdecimal() and 0 < int(words) <= len(self.zones):
            words = self.zones[int(words) - 1]
        if words in self.zones:
            self.zone = words
            self.say(f"Readings from now on are of “{words}”.")
        elif words:
            self.say(f"There is no zone “{words}”; readings are still of “{self.zone}”.")

    async def _take_all(self) -> None:
        async with aclosing(self.feed.told()) as told:
            async for one in told:
                self.take(one)
        self._ended = True
        self._put.set()

    def take(self, told: SpotReading | FeedRemark) -> None:
        """Write one reading to disk, then show it; or show why there is none."""
        if isinstance(told, FeedRemark):
            self.say(told.words)
            return
        zone = told.zone or self.zone
        arrived = self.now()
        try:
            made = made_at(told, arrived, trust_stamp=self.trust_stamp)
        except NoReadingError as error:
            self.say(f"{told.celsius:.1f} °C: {error}")
            return
        if problem := problem_of(told.celsius, zone):
            self.say(f"Not taken: {problem}.")
            return
        content = {
            "wrote_ms": made.timestamp() * 1000.0,
            "offset_ms": None if made != arrived else self.server.offset_ms,
            "zone": zone,
            "celsius": round(told.celsius, 4),
            "error_k": self.error_k,
        }
        self.outbox.put(reading_id(self.visit, self.feed.name, told.same), content)
        self.say(f"{made.astimezone():%H:%M:%S} {told.celsius:.1f} °C, {zone}: read")
        self._put.set()

    async def _send_all(self) -> None:
        rest_s = 0.0
        while True:
            self._put.clear()
            batch = self.outbox.waiting()
            if not batch and self._ended:
                return
            if not batch:
                await self._put.wait()
                continue
            try:
                answers = await asyncio.to_thread(self._enter, batch, PATIENCE_S)
            except (ServerAwayError, ServerRefusedError) as error:
                self._trouble(error)
                rest_s = min(max(2.0 * rest_s, self.first_rest_s), _LONGEST_REST_S)
                await asyncio.sleep(rest_s)
            else:
                rest_s = 0.0
                self._settle(batch, answers)

    def _enter(self, batch: Sequence[WaitingReading], patience_s: float) -> list[SentAnswer]:
        """Send; where the whole sending does not fit, each by itself, so that one holds up no other."""
        try:
            return self.server.enter(self.visit, batch, patience_s)
        except ServerRefusedError as error:
            if error.status != _UNFIT:
                raise
            if len(batch) == 1:
                return [SentAnswer(batch[0].id, str(error))]
        return [answer for one in batch for answer in self._enter([one], patience_s)]

    def _settle(self, batch: Sequence[WaitingReading], answers: Sequence[SentAnswer]) -> None:
        if self._trouble_said:
            self.say("The server answers again.")
            self._trouble_said = ""
        for one, answer in zip(batch, answers, strict=True):
            self.outbox.settle(one.id, answer.refused)
            if answer.refused:
                self.refused += 1
                self.say(f"NOT SAVED: {one.words}: {answer.refused}")
            else:
                self.saved += 1
                self.say(f"saved: {one.words}")

    def _trouble(self, error: Exception) -> None:
        words = str(error)
        if words != self._trouble_said:
            self.say(f"Not saved yet, kept on this computer and tried again: {words}")
        self._trouble_said = words
