"""The serial feed against a thermometer simulated at the other end of a real pseudo-terminal."""

import asyncio
import os
import pty
import tty
from collections.abc import AsyncGenerator, Iterator
from contextlib import aclosing
from pathlib import Path

import pytest

from evenfield.thermometer import FeedRemark, SerialFeed, SpotReading, serial_port
from evenfield.thermometer.serial_port import LONGEST_LINE


class Thermometer:
    """The thermometer's end of a line; the other end is a port like any."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.plug()

    def plug(self) -> None:
        """A new line, at the same name."""
        self._mine, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self._theirs))
        self.plugged = True

    def write(self, words: bytes) -> None:
        """Say something."""
        os.write(self._mine, words)

    def unplug(self) -> None:
        """The line is gone, as when a plug is pulled."""
        if self.plugged:
            os.close(self._mine)
            os.close(self._theirs)
        self.plugged = False


@pytest.fixture
def thermometer(tmp_path: Path) -> Iterator[Thermometer]:
    """One, plugged in."""
    made = Thermometer(tmp_path / "port")
    yield made
    made.unplug()


Told = AsyncGenerator[SpotReading | FeedRemark, None]


async def next_reading(told: Told) -> SpotReading:
    """The next reading, whatever is remarked before it; waits 20 s at most."""
    async with asyncio.timeout(20):
        async for one in told:
            if isinstance(one, SpotReading):
                return one
    raise AssertionError


async def next_remark(told: Told, words: str) -> None:
    """Wait for a remark with these words; nothing else may come before it."""
    async with asyncio.timeout(20):
        one = await anext(told)
    assert isinstance(one, FeedRemark), one
    assert words in one.words


def test_lines_are_read_however_they_are_cut_and_ended(thermometer: Thermometer) -> None:
    async def read() -> None:
        async with aclosing(SerialFeed(str(thermometer.link)).told()) as told:
            await next_remark(told, "is read")
            thermometer.write(b"36.4 C\r\n35")
            asyncio.get_running_loop().call_later(0.3, thermometer.write, b".2\n\n95 F\r")
            assert [(await next_reading(told)).celsius for _ in range(3)] == [36.4, 35.2, 35.0]
            thermometer.write(b"Err\n\xb0\xff\n" + b"9" * (LONGEST_LINE + 50))
            await next_remark(told, "“Err” is not a number")
            await next_remark(told, "is not a number")
            await next_remark(told, "more than 200 bytes")
            thermometer.write(b"9.1\n34.5 \xb0C\n")  # the rest of that line, then one in Latin-1
            assert (await next_reading(told)).celsius == 34.5

    asyncio.run(read())


def test_the_end_of_a_line_that_began_before_the_opening_is_no_reading(
    thermometer: Thermometer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of “36.42” only “42” may be left: a number one would believe."""
    monkeypatch.setattr(serial_port, "QUIET_S", 1e9)

    async def read() -> None:
        async def keep_writing() -> None:
            while True:
                thermometer.write(b"42 C\r\n36.1 C\r\n")
                await asyncio.sleep(0.2)

        writing = asyncio.create_task(keep_writing())
        async with aclosing(SerialFeed(str(thermometer.link)).told()) as told:
            assert (await next_reading(told)).celsius == 36.1
        writing.cancel()

    asyncio.run(read())


def test_a_pulled_plug_is_said_and_the_port_is_opened_again(thermometer: Thermometer) -> None:
    async def read() -> None:
        async with aclosing(SerialFeed(str(thermometer.link), again_s=0.1).told()) as told:
            await next_remark(told, "is read")
            thermometer.write(b"36.4 C 2026-05-17T10:30:00\n")
            first = await next_reading(told)
            assert first.same == "36.4 C 2026-05-17T10:30:00"
            thermometer.write(b"35.")
            thermometer.unplug()
            await next_remark(told, "is lost, trying again")
            await next_remark(told, "cannot be opened, trying again")
            thermometer.plug()
            await next_remark(told, "is read")
            thermometer.write(b"34.9\n")
            assert (await next_reading(told)).celsius == 34.9  # not 35.34.9, nor 35

    asyncio.run(read())
