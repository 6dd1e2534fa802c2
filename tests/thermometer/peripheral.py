"""A simulated health thermometer: what stands in for the radio, under the real bleak.

It is a client back end as bleak lets one add: bleak itself looks up services and characteristics and passes
on what is indicated. The bytes are those of the standard; the radio and the operating system are not tried.
"""

from collections.abc import Callable
from typing import Any

from bleak.assigned_numbers import CharacteristicPropertyName
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient, NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakDeviceNotFoundError, BleakError

from evenfield.thermometer.measurement import MEASUREMENT, SERVICE, TEMPERATURE_TYPE

ADDRESS = "00:00:5E:00:53:01"  # from the range that RFC 7042 keeps for documentation
INTERMEDIATE = "00002a1e-0000-1000-8000-00805f9b34fb"


class Peripheral:
    """The thermometer itself: in reach or not, with its characteristics; it indicates to who subscribed."""

    def __init__(self, site: bytes | None = None, characteristic: str = MEASUREMENT) -> None:
        self.site, self.characteristic = site, characteristic
        self.in_reach = True
        self.connections = 0
        self.subscribed: dict[str, NotifyCallback] = {}
        self.written: list[bytes] = []
        self._gone: Callable[[], None] | None = None

    def indicate(self, message: bytes, characteristic: str = MEASUREMENT) -> None:
        """Send to whoever subscribed."""
        if characteristic in self.subscribed:
            self.subscribed[characteristic](bytearray(message))

    def leave(self) -> None:
        """Out of reach, or switched off."""
        self.in_reach = False
        self.subscribed.clear()
        if self._gone:
            self._gone()

    def services(self) -> BleakGATTServiceCollection:
        """As bleak is told them after connecting."""
        found = BleakGATTServiceCollection()
        service = BleakGATTService(None, 1, SERVICE)
        found.add_service(service)
        offered: list[tuple[str, list[CharacteristicPropertyName]]] = [
            (self.characteristic, ["indicate"]),
            (INTERMEDIATE, ["notify"]),
        ]
        if self.site is not None:
            offered.append((TEMPERATURE_TYPE, ["read"]))
        for place, (uuid, properties) in enumerate(offered):
            one = BleakGATTCharacteristic(None, 2 + 3 * place, uuid, properties, lambda: 20, service)
            found.add_characteristic(one)
        return found

    def backend(self) -> type[BaseBleakClient]:
        """The back end through which bleak reaches this thermometer."""
        peripheral = self

        class Backend(SimulatedClient):
            thermometer = peripheral

        return Backend


class SimulatedClient(BaseBleakClient):
    """One connection to a simulated thermometer."""

    thermometer: Peripheral

    def __init__(self, address: BLEDevice | str, **options: Any) -> None:
        assert options.pop("services") == {SERVICE}
        super().__init__(
            address, disconnected_callback=options["disconnected_callback"], timeout=options["timeout"]
        )
        self._connected = False

    @property
    def mtu_size(self) -> int:
        """The least that Bluetooth Low Energy has."""
        return 23

    @property
    def is_connected(self) -> bool:
        """Whether connected."""
        return self._connected

    async def connect(self, pair: bool, **_: Any) -> None:
        """Fails where the thermometer is out of reach."""
        if not self.thermometer.in_reach:
            raise BleakDeviceNotFoundError(self.address, f"Device with address {self.address} was not found.")
        self.services = self.thermometer.services()
        self._connected = True
        self.thermometer.connections += 1
        self.thermometer._gone = self._gone

    def _gone(self) -> None:
        self._connected = False
        if self._disconnected_callback:
            self._disconnected_callback()

    async def disconnect(self) -> None:
        """Let go."""
        self._connected = False
        self.thermometer.subscribed.clear()

    async def read_gatt_char(self, characteristic: BleakGATTCharacteristic, **_: Any) -> bytearray:
        """Only the type can be read."""
        assert characteristic.uuid == TEMPERATURE_TYPE
        return bytearray(self.thermometer.site or b"")

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **_: Any
    ) -> None:
        """Subscribe."""
        if not self._connected:
            raise BleakError("not connected")
        self.thermometer.subscribed[characteristic.uuid] = callback

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        """Subscribe no longer."""
        del self.thermometer.subscribed[characteristic.uuid]

    async def pair(self, *_: Any, **__: Any) -> None:
        """Not used."""
        raise NotImplementedError

    async def unpair(self) -> None:
        """Not used."""
        raise NotImplementedError

    async def read_gatt_descriptor(self, descriptor: BleakGATTDescriptor, **_: Any) -> bytearray:
        """Not used."""
        raise NotImplementedError

    async def write_gatt_char(self, characteristic: Any, data: Any, response: bool) -> None:
        """Nothing may ever be written to a thermometer."""
        self.thermometer.written.append(bytes(data))

    async def write_gatt_descriptor(self, descriptor: Any, data: Any) -> None:
        """Nothing may ever be written to a thermometer."""
        self.thermometer.written.append(bytes(data))
