"""Serving the clinic's pages on this computer."""

import signal
import socket
import sys
import tempfile
import threading
from collections.abc import Callable
from contextlib import ExitStack, suppress
from pathlib import Path

from evenfield.clinic.terminal import migrate, start_django

PORT = 8321


class PortTakenError(Exception):
    """The port cannot be listened on; one clear sentence."""


def serve(
    home: Path | None = None, port: int = PORT, *, demo: bool = False, say: Callable[[str], None] = print
) -> None:
    """Bring the record up to date, say the address, and answer on the loopback interface until interrupted.

    Args:
        home: the data directory; None for EVENFIELD_HOME or the platform's place. A demonstration without one
            lives in a temporary directory and is gone afterwards.
        port: the port to listen on.
        demo: serve an invented clinic, marked as such on every page.
        say: where lines for the person at the terminal go.

    Raises:
        HomeError: the data directory cannot be used.
        PortTakenError: something else listens on the port; nothing was begun.
    """
    import uvicorn

    with ExitStack() as stack:
        if threading.current_thread() is threading.main_thread():
            signal.signal(
                signal.SIGTERM, lambda *_: sys.exit(0)
            )  # so that a temporary directory is removed too
        listening = stack.enter_context(_listen(port))
        if demo and home is None:
            home = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="evenfield-demonstration-")))
        place = start_django(home, demonstration=demo)
        migrate()
        address = f"http://127.0.0.1:{port}/"
        if demo:
            _fill_demonstration(say)
        say(f"evenfield serves {address} from {place} (stop with Ctrl+C)")
        _offer_first_run(address, say)
        config = uvicorn.Config(
            "evenfield.clinic.asgi:application",
            lifespan="off",
            access_log=False,
            server_header=False,
            log_level="warning",
            timeout_graceful_shutdown=3,
        )
        with suppress(KeyboardInterrupt):  # how it ends every day
            uvicorn.Server(config).run(sockets=[listening])
        say("Stopped.")


def _listen(port: int) -> socket.socket:
    """The loopback interface at this port, taken before anything else is done."""
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("127.0.0.1", port))
        listening.listen()
    except OSError as error:
        listening.close()
        raise PortTakenError(
            f"Port {port} of this computer cannot be used ({error.strerror}); choose another with --port."
        ) from error
    return listening


def _fill_demonstration(say: Callable[[str], None]) -> None:
    from evenfield.clinic.accounts.demonstration import PASSWORD, PIN, STAFF
    from evenfield.clinic.demonstration import make_demonstration

    make_demonstration()
    say("Demonstration: everyone and everything is invented.")
    say(f"User names {', '.join(username for username, _, _ in STAFF)}; password: {PASSWORD}; PIN: {PIN}")


def _offer_first_run(address: str, say: Callable[[str], None]) -> None:
    from evenfield.clinic.accounts.codes import end_first_run, start_first_run
    from evenfield.clinic.accounts.models import Account

    if Account.objects.exists():
        end_first_run()
        return
    say(f"First run: create the owner's account at {address}first-run/ with the code {start_first_run()}")
