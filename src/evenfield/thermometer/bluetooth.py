"""A Bluetooth Low Energy thermometer of the Health Thermometer Service. It is only listened to.

Subscribed is the Temperature Measurement (0x2A1C, indications). The Intermediate Temperature (0x2A1E) is for
display while a thermometer settles and is left alone; the Measurement Interval (0x2A21) is never written.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from evenfield.thermometer.measurement import (
    MEASUREMENT,
    SERVICE,
    TEMPERATURE_TYPE,
    MeasuredSite,
    parse_measurement,
    parse_site,
)
from evenfield.thermometer.reading import FeedError, FeedRemark, NoReadingError, SpotReading, plain

if TYPE_CHECKING:
    from bleak import BleakClient
    from bleak.backends.client import BaseBleakClient
    from bleak.backends.scanner import BaseBleakScanner

NOT_HERE = "Bluetooth thermometers need: pip install 'evenfield[thermometer]'."


class BluetoothFeed:
    """Measurements indicated by the thermometer of an address, connected again whenever it is lost.

    `backend` stands in for the radio of this computer: bleak's own way of adding one, which the tests use.
    """

    def __init__(
        self, address: str, again_s: float = 2.0, backend: type[BaseBleakClient] | None = None
    ) -> None:
        self._address, self._again_s, self._backend = address, again_s, backend
        try:
            import bleak
        except ImportError as error:
            raise FeedError(NOT_HERE) from error
        self._bleak = bleak

    @property
    def name(self) -> str:
        """The address."""
        return f"thermometer {self._address}"

    async def told(self) -> AsyncGenerator[SpotReading | FeedRemark, None]:
        """Each measurement indicated. A thermometer that is away is sought again; most are away between uses.

        Raises `FeedError` where the address belongs to something that is no health thermometer.
        """
        told = ""
        while True:
            heard: asyncio.Queue[bytes | None] = asyncio.Queue()
            client = self._client(heard)
            try:
                try:
                    await client.connect()
                    fixed = await self._fixed_site(client)
                    await client.start_notify(MEASUREMENT, _into(heard))
                except self._bleak.exc.BleakCharacteristicNotFoundError as error:
                    words = "offers no temperature measurement (0x2A1C of service 0x1809)"
                    raise FeedError(f"{self.name} {words}.") from error
                except (self._bleak.exc.BleakError, OSError, EOFError, TimeoutError) as error:
                    words = f"{self.name} is not reached, trying again: {_why(error)}"
                    if words != told:
                        yield FeedRemark(words)
                    told = words
                else:
                    told = ""
                    yield FeedRemark(f"{self.name} is connected.")
                    while (message := await heard.get()) is not None:
                        yield _what(message, fixed)
                    yield FeedRemark(f"{self.name} is gone, seeking it again.")
            finally:
                with suppress(self._bleak.exc.BleakError, OSError, EOFError):
                    await client.disconnect()
            await asyncio.sleep(self._again_s)

    def _client(self, heard: asyncio.Queue[bytes | None]) -> BleakClient:
        return self._bleak.BleakClient(
            self._address,
            disconnected_callback=lambda _: heard.put_nowait(None),
            services=[SERVICE],
            backend=self._backend,
        )

    async def _fixed_site(self, client: BleakClient) -> MeasuredSite | NoReadingError | None:
        """The site a thermometer always measures at, where it offers to tell; what is wrong with it else."""
        offered = client.services.get_characteristic(TEMPERATURE_TYPE)
        if offered is None:
            return None
        try:
            return parse_site(bytes(await client.read_gatt_char(offered)))
        except NoReadingError as error:
            return error


def _into(heard: asyncio.Queue[bytes | None]) -> Callable[[object, bytearray], None]:
    return lambda _, data: heard.put_nowait(bytes(data))


def _what(message: bytes, fixed: MeasuredSite | NoReadingError | None) -> SpotReading | FeedRemark:
    try:
        return reading_of(message, fixed)
    except NoReadingError as error:
        return FeedRemark(str(error))


def reading_of(message: bytes, fixed: MeasuredSite | NoReadingError | None = None) -> SpotReading:
    """The reading of one message, by a thermometer whose site may be fixed (0x2A1D).

    Raises `NoReadingError`, also for a site other than "body" or none: the standard has no code for skin, and
    a thermometer set to mouth, ear or armpit may tell a body temperature it worked out, not what it met.
    """
    told = parse_measurement(message)
    site = told.site if told.site is not None else fixed
    if isinstance(site, NoReadingError):
        raise site
    if site not in (None, MeasuredSite.BODY):
        raise NoReadingError(
            f"No reading: the thermometer says it measures at the {site.words}; set it to read a surface."
        )
    return SpotReading(told.celsius, told.stamp, same=message.hex() if told.stamp else "")


@dataclass(frozen=True)
class InReach:
    """A health thermometer that can be heard: its address, what it calls itself, signal strength (dBm)."""

    address: str
    name: str
    dbm: int


async def in_reach(seconds: float, backend: type[BaseBleakScanner] | None = None) -> list[InReach]:
    """Listen for health thermometers, the strongest signal first. `FeedError` where there is no radio."""
    try:
        from bleak import BleakScanner
        from bleak.exc import BleakError
    except ImportError as error:
        raise FeedError(NOT_HERE) from error
    try:
        other: dict[str, Any] = {"backend": backend} if backend else {}
        heard = await BleakScanner.discover(seconds, return_adv=True, service_uuids=[SERVICE], **other)
    except (BleakError, OSError) as error:
        raise FeedError(f"This computer cannot listen for Bluetooth: {_why(error)}") from error
    found = [
        InReach(device.address, told.local_name or "", told.rssi)
        for device, told in heard.values()
        if SERVICE in told.service_uuids
    ]
    return sorted(found, key=lambda one: -one.dbm)


def _why(error: BaseException) -> str:
    if isinstance(error, FileNotFoundError):  # of the socket through which bleak reaches the system's service
        return "the Bluetooth service of this system is not there."
    return plain(error)
