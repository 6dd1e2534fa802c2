"""No test reaches beyond this machine.

An audit hook sees what Python's own socket code is about to do, in whatever library and thread, and raises
before it is done: a look-up of any name but this machine's, a connection or a datagram to anything but
loopback. Hooks cannot be taken out again, so no test can switch this off. What other programs do (a browser,
a database server) is not seen here: they get loopback addresses and their own switches, and CI runs all of it
in a network of its own.
"""

import ipaddress
import socket
import sys
from typing import Any

INTERNET = {socket.AF_INET, socket.AF_INET6}
LOCAL_NAMES = {"", "localhost"}
CONNECTING = {"socket.connect", "socket.sendto", "socket.sendmsg"}
LOOKING_UP = {"socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr", "socket.getnameinfo"}


class NetworkUseError(AssertionError):
    """A test tried to reach beyond this machine."""


def is_local(host: str | bytes | None) -> bool:
    """True for no host, `localhost`, a loopback address, and the unspecified address that only binds."""
    name = host.decode("ascii", "replace") if isinstance(host, bytes) else host
    if name is None or name.lower() in LOCAL_NAMES:
        return True
    try:
        address = ipaddress.ip_address(name.partition("%")[0])
    except ValueError:
        return False
    return address.is_loopback or address.is_unspecified


def _guard(event: str, args: tuple[Any, ...]) -> None:
    if event in CONNECTING:
        connection, address = args  # no address where the socket is connected already
        if address is None or connection.family not in INTERNET:
            return
        host = address[0]
    elif event in LOOKING_UP:
        host = args[0][0] if isinstance(args[0], tuple) else args[0]
    else:
        return
    if not is_local(host):
        raise NetworkUseError(f"{event} to {host!r}: tests use this machine only")


def install() -> None:
    """Guard this process until it ends."""
    sys.addaudithook(_guard)
