"""The Temperature Measurement characteristic (0x2A1C) of the Bluetooth Health Thermometer Service (0x1809).

One message is flags (1 byte: bit 0 unit, bit 1 time stamp, bit 2 type), a 32-bit FLOAT of IEEE 11073-20601,
then a time stamp of 7 bytes and a type of 1 byte if their flags are set; all little-endian, so 5, 6, 12 or 13
bytes. Source: the Bluetooth SIG's public service and characteristic descriptions and assigned numbers. The
FLOAT is m · 10^e with a signed exponent e in the top byte and a signed mantissa m in the other three; it is
no IEEE 754 number. Source: Bluetooth SIG, Personal Health Devices Transcoding white paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from enum import Enum, IntEnum

from evenfield.thermometer.reading import Degrees, NoReadingError

SERVICE = "00001809-0000-1000-8000-00805f9b34fb"
MEASUREMENT = "00002a1c-0000-1000-8000-00805f9b34fb"
TEMPERATURE_TYPE = "00002a1d-0000-1000-8000-00805f9b34fb"

_FAHRENHEIT, _STAMPED, _TYPED = 0x01, 0x02, 0x04  # the other bits are reserved and say nothing
_FLOAT_END = 5
_STAMP_BYTES = 7


class NoNumber(Enum):
    """The FLOATs that are no number, by their 32 bits."""

    NAN = 0x007FFFFF, "NaN", "it could not measure"
    NRES = 0x00800000, "NRes", "it cannot tell at its resolution"
    ABOVE = 0x007FFFFE, "+INF", "it is above what it can measure"
    BELOW = 0x00800002, "-INF", "it is below what it can measure"
    RESERVED = 0x00800001, "reserved", "a value without a meaning"

    def __init__(self, bits: int, symbol: str, words: str) -> None:
        self.bits, self.symbol, self.words = bits, symbol, words


class MeasuredSite(IntEnum):
    """Where a thermometer says that it measures: the type codes of 0x2A1C and 0x2A1D."""

    ARMPIT = 1
    BODY = 2
    EAR_LOBE = 3
    FINGER = 4
    GUT = 5
    MOUTH = 6
    RECTUM = 7
    TOE = 8
    EAR_DRUM = 9

    @property
    def words(self) -> str:
        """For a sentence."""
        return self.name.lower().replace("_", " ")


@dataclass(frozen=True)
class TemperatureMessage:
    """A message's content. `told` is in `scale`; `stamp` has the thermometer's own clock, without a zone."""

    told: float
    scale: Degrees
    stamp: datetime | None
    site: MeasuredSite | None

    @property
    def celsius(self) -> float:
        """The temperature, °C."""
        return self.scale.to_celsius(self.told)


def decode_float(four: bytes) -> float | NoNumber:
    """The number in four little-endian bytes of an IEEE 11073 FLOAT, or which special value it is.

    The number is the double nearest to the decimal m · 10^e, as if it had been typed.
    """
    if len(four) != 4:
        raise NoReadingError(f"An IEEE 11073 FLOAT has 4 bytes, not {len(four)}.")
    bits = int.from_bytes(four, "little")
    for special in NoNumber:
        if bits == special.bits:
            return special
    mantissa = int.from_bytes(four[:3], "little", signed=True)
    exponent = int.from_bytes(four[3:], "little", signed=True)
    return float(Decimal(mantissa).scaleb(exponent))


def parse_measurement(message: bytes) -> TemperatureMessage:
    """The content of one 0x2A1C message.

    Raises `NoReadingError` with one sentence for a message of another length than its flags call for, a
    special value, a time that is none and a type that is none. A date told as not known counts as no stamp.
    """
    flags = message[0] if message else 0
    stamped, typed = bool(flags & _STAMPED), bool(flags & _TYPED)
    length = _FLOAT_END + _STAMP_BYTES * stamped + typed
    if not message or len(message) != length:
        shown = message[:20].hex(" ") or "nothing"
        wanted = f"{length} by its flags" if message else "at least 5"
        raise NoReadingError(f"No reading: a message of {len(message)} bytes, {wanted} expected ({shown}).")
    number = decode_float(message[1:_FLOAT_END])
    if isinstance(number, NoNumber):
        raise NoReadingError(f"No reading: the thermometer says {number.symbol}, {number.words}.")
    stamp = _stamp(message[_FLOAT_END : _FLOAT_END + _STAMP_BYTES]) if stamped else None
    scale = Degrees.FAHRENHEIT if flags & _FAHRENHEIT else Degrees.CELSIUS
    return TemperatureMessage(number, scale, stamp, parse_site(message[-1:]) if typed else None)


def parse_site(one: bytes) -> MeasuredSite:
    """The site of a type code, as in 0x2A1D; `NoReadingError` where it is not one of 1 to 9."""
    try:
        return MeasuredSite(one[0])
    except (ValueError, IndexError):
        raise NoReadingError(f"No reading: type {one.hex() or 'nothing'} is not one of 1 to 9.") from None


def _stamp(seven: bytes) -> datetime | None:
    """Year (2 bytes), month, day, hours, minutes, seconds; 0 in one of the first three is "not known"."""
    parts = [int.from_bytes(seven[:2], "little"), *seven[2:]]
    if 0 in parts[:3]:
        return None
    try:
        return datetime(*parts)
    except ValueError:
        year, month, day, hour, minute, second = parts
        told = f"{year}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}"
        raise NoReadingError(f"No reading: its time {told} is none.") from None
