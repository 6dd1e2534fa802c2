"""The Bluetooth feed against a simulated thermometer, through the real bleak."""

import asyncio
from collections.abc import AsyncGenerator
from contextlib import aclosing
from typing import Any

import pytest
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.exc import BleakError

from evenfield.thermometer import BluetoothFeed, FeedError, FeedRemark, SpotReading, in_reach
from evenfield.thermometer.measurement import MEASUREMENT, SERVICE
from tests.thermometer.peripheral import ADDRESS, INTERMEDIATE, Peripheral

PLAIN = bytes.fromhex("00 6C 01 00 FF")  # 36.4 °C, see test_measurement
STAMPED = bytes.fromhex("06 6C 01 00 FF E8 07 05 11 0A 1E 00 02")
NO_NUMBER = bytes.fromhex("00 FF FF 7F 00")
Told = AsyncGenerator[SpotReading | FeedRemark, None]


async def soon(told: Told) -> SpotReading | FeedRemark:
    """What is told next; waits 20 s at most."""
    async with asyncio.timeout(20):
        return await anext(told)


async def remark(told: Told, words: str) -> None:
    """The next thing told is a remark with these words."""
    one = await soon(told)
    assert isinstance(one, FeedRemark), one
    assert words in one.words


async def reading(told: Told) -> SpotReading:
    """The next thing told is a reading."""
    one = await soon(told)
    assert isinstance(one, SpotReading), one
    return one


def test_each_measurement_indicated_is_told_through_leaving_and_coming_back() -> None:
    thermometer = Peripheral(site=b"\x02")
    thermometer.in_reach = False

    async def listen() -> None:
        feed = BluetoothFeed(ADDRESS, again_s=0.05, backend=thermometer.backend())
        async with aclosing(feed.told()) as told:
            await remark(told, "is not reached, trying again: Device with address")
            thermometer.in_reach = True
            await remark(told, "is connected")
            thermometer.indicate(PLAIN)
            thermometer.indicate(NO_NUMBER)
            thermometer.indicate(STAMPED)
            assert (await reading(told)).celsius == 36.4
            await remark(told, "NaN")
            stamped = await reading(told)
            thermometer.indicate(PLAIN)
            thermometer.leave()
            assert (await reading(told)).celsius == 36.4  # what came before it left is not lost
            await remark(told, "is gone, seeking it again")
            await remark(told, "is not reached")
            thermometer.in_reach = True
            await remark(told, "is connected")
            thermometer.indicate(STAMPED)  # one that keeps what was not acknowledged sends it again
            assert (await reading(told)).same == stamped.same != ""
        assert thermometer.subscribed == {}

    asyncio.run(listen())
    assert thermometer.connections == 2
    assert thermometer.written == []


def test_only_final_measurements_are_listened_to() -> None:
    thermometer = Peripheral()

    async def listen() -> None:
        async with aclosing(BluetoothFeed(ADDRESS, backend=thermometer.backend()).told()) as told:
            await remark(told, "is connected")
            assert list(thermometer.subscribed) == [MEASUREMENT]
            thermometer.indicate(PLAIN, INTERMEDIATE)
            thermometer.indicate(STAMPED)
            assert (await reading(told)).same == STAMPED.hex()

    asyncio.run(listen())


def test_a_thermometer_fixed_to_the_ear_reads_no_skin_and_says_so() -> None:
    thermometer = Peripheral(site=b"\x09")

    async def listen() -> None:
        async with aclosing(BluetoothFeed(ADDRESS, backend=thermometer.backend()).told()) as told:
            await remark(told, "is connected")
            thermometer.indicate(PLAIN)
            await remark(told, "it measures at the ear drum")

    asyncio.run(listen())


def test_what_is_no_health_thermometer_is_refused() -> None:
    thermometer = Peripheral(characteristic="00002a37-0000-1000-8000-00805f9b34fb")  # a heart rate

    async def listen() -> None:
        async with aclosing(BluetoothFeed(ADDRESS, backend=thermometer.backend()).told()) as told:
            await soon(told)

    with pytest.raises(FeedError, match="offers no temperature measurement"):
        asyncio.run(listen())


class Air(BaseBleakScanner):
    """What a scan hears: two thermometers and something else."""

    def __init__(self, detection_callback: Any, service_uuids: Any, *_: Any, **__: Any) -> None:
        super().__init__(detection_callback, service_uuids)

    async def start(self) -> None:
        """Everything is heard at once."""
        self.seen_devices = {}
        for last, name, service, dbm in (
            ("1", None, SERVICE, -80),
            ("2", "Spot", SERVICE, -50),
            ("3", "x", "180d", -40),
        ):
            told = AdvertisementData(name, {}, {}, [service], None, dbm, ())
            device = BLEDevice(ADDRESS[:-1] + last, name, None)
            self.seen_devices[last] = device, told

    async def stop(self) -> None:
        """Nothing to end."""


class NoAir(Air):
    """A computer without a radio."""

    async def start(self) -> None:
        """Fails as bleak does."""
        raise BleakError("No Bluetooth adapters found.")


def test_thermometers_in_reach_are_listed_the_nearest_first() -> None:
    found = asyncio.run(in_reach(0.01, Air))
    assert [(one.address[-1], one.name, one.dbm) for one in found] == [("2", "Spot", -50), ("1", "", -80)]
    with pytest.raises(FeedError, match="cannot listen for Bluetooth: No Bluetooth adapters"):
        asyncio.run(in_reach(0.01, NoAir))
