"""The guard of tests/network_guard.py stops what leaves this machine and lets loopback through.

Addresses outside are from the ranges that RFC 5737 and RFC 3849 keep for documentation, names from the top
level that RFC 2606 reserves: were the guard gone, nobody's machine would be reached.
"""

import asyncio
import socket
import urllib.request
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.network_guard import NetworkUseError, is_local

OUTSIDE = "192.0.2.1"
OUTSIDE_6 = "2001:db8::1"
NAME = "evenfield.invalid"


def _tcp(family: socket.AddressFamily, host: str) -> None:
    with socket.socket(family, socket.SOCK_STREAM) as outward:
        outward.settimeout(0.1)
        outward.connect((host, 80))


def _udp() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outward:
        outward.sendto(b"x", (OUTSIDE, 53))


def _udp_message() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outward:
        outward.sendmsg([b"x"], [], 0, (OUTSIDE, 53))


async def _stream() -> None:
    await asyncio.wait_for(asyncio.open_connection(OUTSIDE, 80), 0.1)


def _asyncio() -> None:
    """In a thread, since a browser of other tests may keep a loop in this one."""
    with ThreadPoolExecutor(1) as threads:
        threads.submit(lambda: asyncio.run(_stream())).result()


WAYS_OUT: dict[str, Callable[[], object]] = {
    "tcp": lambda: _tcp(socket.AF_INET, OUTSIDE),
    "tcp6": lambda: _tcp(socket.AF_INET6, OUTSIDE_6),
    "udp": _udp,
    "udp message": _udp_message,
    "asyncio": _asyncio,
    "urllib": lambda: urllib.request.urlopen(f"http://{OUTSIDE}/", timeout=0.1),
    "name": lambda: socket.getaddrinfo(NAME, 80),
    "name as bytes": lambda: socket.getaddrinfo(NAME.encode(), 80),
    "old name look-up": lambda: socket.gethostbyname(NAME),
    "reverse look-up": lambda: socket.gethostbyaddr(OUTSIDE),
    "name of an address": lambda: socket.getnameinfo((OUTSIDE, 80), 0),
}


@pytest.mark.parametrize("way", WAYS_OUT)
def test_no_way_out(way: str) -> None:
    with pytest.raises(NetworkUseError, match="tests use this machine only"):
        WAYS_OUT[way]()


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1"])
def test_loopback_stays_open(host: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        client = socket.create_connection((host, server.getsockname()[1]), timeout=5)
        served, _ = server.accept()
        with client, served:
            served.sendall(b"here")
            assert client.recv(4) == b"here"


@pytest.mark.parametrize(
    ("host", "local"),
    [
        (None, True),
        ("LocalHost", True),
        (b"localhost", True),
        ("127.8.9.1", True),
        ("::1", True),
        ("::1%lo", True),
        ("0.0.0.0", True),
        ("10.0.0.1", False),
        ("169.254.1.1", False),
        ("fe80::1%eth0", False),
        ("localhost.example", False),
        ("127.0.0.1.example", False),
        (b"\xff", False),
    ],
)
def test_what_counts_as_local(host: str | bytes | None, local: bool) -> None:
    assert is_local(host) is local
