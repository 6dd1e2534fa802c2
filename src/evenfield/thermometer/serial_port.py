"""A thermometer that writes lines to a serial port. It is read only: nothing is ever written to it."""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncGenerator
from contextlib import aclosing, suppress
from typing import TYPE_CHECKING

from evenfield.thermometer.line import parse_line
from evenfield.thermometer.reading import FeedError, FeedRemark, NoReadingError, SpotReading, plain

if TYPE_CHECKING:
    import serial

LONGEST_LINE = 200
QUIET_S = 0.5
"""A line that begins within this time of the opening may lack its beginning and is left out."""
_LOOK_S = 0.1


class SerialFeed:
    """Lines of text (see `line`) from a port, opened again whenever it is lost."""

    def __init__(self, port: str, baud: int = 9600, again_s: float = 2.0) -> None:
        self._port, self._baud, self._again_s = port, baud, again_s
        try:
            import serial
        except ImportError as error:
            raise FeedError("Serial thermometers need: pip install 'evenfield[thermometer]'.") from error
        self._serial = serial

    @property
    def name(self) -> str:
        """The port."""
        return f"serial port {self._port}"

    async def told(self) -> AsyncGenerator[SpotReading | FeedRemark, None]:
        """What the lines say; a port that cannot be opened or is lost is tried again and again."""
        told = ""
        while True:
            try:
                port = await asyncio.to_thread(self._open)
            except (OSError, ValueError) as error:  # SerialException is an OSError
                words = f"{self.name} cannot be opened, trying again: {plain(error)}"
                if words != told:
                    yield FeedRemark(words)
                told = words
                await asyncio.sleep(self._again_s)
                continue
            told = ""
            try:
                async with aclosing(self._lines(port)) as lines:
                    async for line in lines:
                        yield _what(line) if line else FeedRemark(f"{self.name} is read.")
            except OSError as error:
                yield FeedRemark(f"{self.name} is lost, trying again: {plain(error)}")
            finally:
                with suppress(OSError):
                    port.close()

    def _open(self) -> serial.Serial:
        return self._serial.Serial(self._port, self._baud, timeout=_LOOK_S, exclusive=True)

    async def _lines(self, port: serial.Serial) -> AsyncGenerator[bytes, None]:
        """Whole lines without their ends, and b"" once the next line is known to be whole.

        Raises OSError when the port is lost.
        """
        held, looks, whole = b"", 0, False
        while True:
            held += await asyncio.to_thread(lambda: port.read(max(1, port.in_waiting)))
            looks += 1
            *lines, held = re.split(rb"[\r\n]+", held)
            if not whole and (lines or (not held and looks * _LOOK_S >= QUIET_S)):
                whole, lines = True, lines[1:]
                yield b""
            for line in lines:
                if line:
                    yield line
            if len(held) > LONGEST_LINE:
                yield held
                held, looks, whole = b"", 0, False


def _what(line: bytes) -> SpotReading | FeedRemark:
    if len(line) > LONGEST_LINE:
        return FeedRemark(f"No reading: a line of more than {LONGEST_LINE} bytes; is the speed right?")
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError:
        text = line.decode("latin-1")
    try:
        return parse_line(text)
    except NoReadingError as error:
        return FeedRemark(str(error))
