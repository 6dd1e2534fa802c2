"""Readings from a thermometer, through one adapter, into a running visit. No thermometer is told anything.

See docs/thermometer.md.
"""

from evenfield.thermometer.bluetooth import BluetoothFeed, in_reach
from evenfield.thermometer.line import parse_line
from evenfield.thermometer.measurement import decode_float, parse_measurement
from evenfield.thermometer.outbox import Outbox, OutboxError
from evenfield.thermometer.reading import Feed, FeedError, FeedRemark, NoReadingError, SpotReading
from evenfield.thermometer.serial_port import SerialFeed
from evenfield.thermometer.server import ClinicServer, LiveVisit, ServerAwayError, ServerRefusedError
from evenfield.thermometer.session import DEFAULT_ERROR_K, FeedRun
from evenfield.thermometer.table import TableError, TableFeed, read_table

__all__ = [
    "DEFAULT_ERROR_K",
    "BluetoothFeed",
    "ClinicServer",
    "Feed",
    "FeedError",
    "FeedRemark",
    "FeedRun",
    "LiveVisit",
    "NoReadingError",
    "Outbox",
    "OutboxError",
    "SerialFeed",
    "ServerAwayError",
    "ServerRefusedError",
    "SpotReading",
    "TableError",
    "TableFeed",
    "decode_float",
    "in_reach",
    "parse_line",
    "parse_measurement",
    "read_table",
]
