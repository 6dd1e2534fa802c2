"""The Temperature Measurement characteristic against published values.

Sources: IEEE 11073-20601 FLOAT and its special values as printed in the Bluetooth SIG's Personal Health
Devices Transcoding white paper (36.4 °C is its example); field order, flags, types and identifiers of the
Health Thermometer Service from the Bluetooth SIG's public descriptions and assigned numbers. The other
FLOATs are computed by hand from m · 10^e.
"""

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenfield.thermometer.bluetooth import reading_of
from evenfield.thermometer.measurement import (
    MEASUREMENT,
    SERVICE,
    TEMPERATURE_TYPE,
    MeasuredSite,
    NoNumber,
    decode_float,
    parse_measurement,
    parse_site,
)
from evenfield.thermometer.reading import Degrees, NoReadingError

STAMP_2024_05_17_10_30 = "E8 07 05 11 0A 1E 00"


@pytest.mark.parametrize(
    ("four", "value"),
    [
        ("6C 01 00 FF", 36.4),  # the white paper's example
        ("77 01 00 FF", 37.5),
        ("DA 03 00 FF", 98.6),
        ("42 0E 00 FE", 36.5),
        ("9C FF FF FF", -10.0),
        ("1A A9 00 FD", 43.29),
        ("25 00 00 00", 37.0),
    ],
)
def test_a_float_is_its_decimal(four: str, value: float) -> None:
    assert decode_float(bytes.fromhex(four)) == value


@pytest.mark.parametrize(
    ("four", "symbol"),
    [
        ("FF FF 7F 00", "NaN"),
        ("00 00 80 00", "NRes"),
        ("FE FF 7F 00", "+INF"),
        ("02 00 80 00", "-INF"),
        ("01 00 80 00", "reserved"),
    ],
)
def test_a_special_value_is_no_reading_and_says_which(four: str, symbol: str) -> None:
    special = decode_float(bytes.fromhex(four))
    assert isinstance(special, NoNumber)
    assert special.symbol == symbol
    with pytest.raises(NoReadingError) as refusal:
        parse_measurement(bytes.fromhex(f"00 {four}"))
    assert str(refusal.value).startswith(f"No reading: the thermometer says {symbol}, ")
    assert str(refusal.value).count(".") == 1


def test_all_fields_of_a_message_are_read() -> None:
    told = parse_measurement(bytes.fromhex(f"06 6C 01 00 FF {STAMP_2024_05_17_10_30} 02"))
    assert (told.celsius, told.scale) == (36.4, Degrees.CELSIUS)
    assert (told.stamp, told.site) == (datetime(2024, 5, 17, 10, 30), MeasuredSite.BODY)


def test_a_message_may_lack_time_and_type_or_be_in_fahrenheit() -> None:
    told = parse_measurement(bytes.fromhex("00 6C 01 00 FF"))
    assert (told.celsius, told.stamp, told.site) == (36.4, None, None)
    told = parse_measurement(bytes.fromhex("01 DA 03 00 FF"))
    assert (told.told, told.scale) == (98.6, Degrees.FAHRENHEIT)
    assert told.celsius == pytest.approx(37.0, abs=1e-9)  # 98.6 °F is 37 °C by definition of the degree


def test_only_the_type_without_the_time() -> None:
    told = parse_measurement(bytes.fromhex("04 6C 01 00 FF 02"))
    assert (told.stamp, told.site) == (None, MeasuredSite.BODY)


def test_reserved_flags_say_nothing() -> None:
    assert parse_measurement(bytes.fromhex("F8 6C 01 00 FF")).celsius == 36.4


@pytest.mark.parametrize(
    ("message", "words"),
    [
        ("", "0 bytes, at least 5"),
        ("00 6C 01 00", "4 bytes, 5 by its flags"),
        ("00 6C 01 00 FF 02", "6 bytes, 5 by its flags"),
        ("02 6C 01 00 FF E8 07 05 11 0A 1E", "11 bytes, 12 by its flags"),
        (f"06 6C 01 00 FF {STAMP_2024_05_17_10_30}", "12 bytes, 13 by its flags"),
        ("02 6C 01 00 FF E8 07 0D 11 0A 1E 00", "its time 2024-13-17 10:30:00 is none"),
        ("04 6C 01 00 FF 0A", "type 0a is not one of 1 to 9"),
    ],
)
def test_a_message_that_does_not_fit_is_refused_in_a_sentence(message: str, words: str) -> None:
    with pytest.raises(NoReadingError) as refusal:
        parse_measurement(bytes.fromhex(message))
    assert words in str(refusal.value)


@pytest.mark.parametrize("part", ["00 00 05 11", "E8 07 00 11", "E8 07 05 00"])
def test_a_date_told_as_not_known_is_no_stamp(part: str) -> None:
    assert parse_measurement(bytes.fromhex(f"02 6C 01 00 FF {part} 0A 1E 00")).stamp is None


@given(st.binary(max_size=20))
def test_whatever_comes_is_a_reading_or_one_sentence(message: bytes) -> None:
    try:
        told = parse_measurement(message)
    except NoReadingError:
        return  # in words; any other error fails the test
    assert len(message) == 5 + 7 * bool(message[0] & 2) + bool(message[0] & 4)
    assert abs(told.celsius) < 1e135  # 2^23 · 10^127


def test_types_and_identifiers_are_those_assigned() -> None:
    assigned = {
        1: "armpit", 2: "body", 3: "ear lobe", 4: "finger", 5: "gut", 6: "mouth", 7: "rectum", 8: "toe",
        9: "ear drum",
    }  # fmt: skip
    assert {site.value: site.words for site in MeasuredSite} == assigned
    assert [uuid[4:8] for uuid in (SERVICE, MEASUREMENT, TEMPERATURE_TYPE)] == ["1809", "2a1c", "2a1d"]
    base = "0000{}-0000-1000-8000-00805f9b34fb"
    assert {SERVICE, MEASUREMENT, TEMPERATURE_TYPE} == {base.format(x) for x in ("1809", "2a1c", "2a1d")}


def test_a_thermometer_that_measures_in_mouth_or_ear_reads_no_skin() -> None:
    plain, typed = bytes.fromhex("00 6C 01 00 FF"), bytes.fromhex("04 6C 01 00 FF 06")
    assert reading_of(plain, MeasuredSite.BODY).celsius == 36.4
    with pytest.raises(NoReadingError, match="it measures at the mouth"):
        reading_of(typed)
    with pytest.raises(NoReadingError, match="it measures at the ear drum"):
        reading_of(plain, MeasuredSite.EAR_DRUM)
    with pytest.raises(NoReadingError, match="type 63 is not one"):
        reading_of(plain, _nonsense())


def _nonsense() -> NoReadingError:
    with pytest.raises(NoReadingError) as refusal:
        parse_site(b"\x63")
    return refusal.value


def test_only_a_message_with_its_time_can_be_known_again() -> None:
    stamped = bytes.fromhex(f"02 6C 01 00 FF {STAMP_2024_05_17_10_30}")
    assert reading_of(stamped).same == stamped.hex()
    assert reading_of(bytes.fromhex("00 6C 01 00 FF")).same == ""
