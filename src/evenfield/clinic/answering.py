"""How requests reach Django: each is answered whole by one of a few lasting threads, entries first.

Django's own way into an asynchronous server gives every request a thread and a database connection of its own
and changes threads several times on the way; that was most of what a heartbeat cost (docs/decisions/0165).
Here the event loop reads the request, one thread answers it with the connection it has kept open, and the
loop sends the answer. What pages ask by themselves every second waits in line, one at a time, while entries
are being answered: with one interpreter lock they would otherwise share every millisecond.
"""

import asyncio
import json
import sys
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from tempfile import SpooledTemporaryFile
from typing import IO, Any

from evenfield.clinic.whole_numbers import whole_number

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Environ = dict[str, Any]
Answering = Callable[[Environ, Callable[..., Any]], Iterable[bytes]]

THREADS = 6
"""Requests answered at once beside one heartbeat."""
MOST_BYTES = 26 * 1024 * 1024
"""Of a request's body: the largest photograph taken (25 MB) with the rest of its form. Beyond it nothing is
read, or no further, so that nobody fills memory or disk before anything has asked who they are."""
HELD_S = 0.5
"""An entry holds heartbeats up no longer than this: pages call themselves stale after three seconds."""
SWITCH_S = 0.0005
"""A thread that computes lets another one in after this (5 ms is usual). An entry speaks to the database some
forty times and would have to wait for its turn after each."""


def is_heartbeat(scope: Scope) -> bool:
    """What a page asks by itself every second."""
    return scope["method"] == "GET" and str(scope["path"]).endswith("/now/")


class Threads:
    """An application for an ASGI server around one for WSGI servers."""

    def __init__(self, answering: Answering, kept_in_memory: int, most_bytes: int = MOST_BYTES) -> None:
        """`kept_in_memory`: bytes of a request's body beyond which it goes to a file without a name;
        `most_bytes`: beyond which it is refused."""
        self.answering, self.kept_in_memory, self.most_bytes = answering, kept_in_memory, most_bytes
        self._others = ThreadPoolExecutor(THREADS, "evenfield-answers")
        self._heartbeats = ThreadPoolExecutor(1, "evenfield-heartbeats")
        self._turn = asyncio.Lock()
        self._quiet = asyncio.Event()
        self._quiet.set()
        self._changes, self._last_began = 0, 0.0
        sys.setswitchinterval(SWITCH_S)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            raise ValueError(f"only http is answered, not {scope['type']}")
        with SpooledTemporaryFile(max_size=self.kept_in_memory) as body:
            try:
                length = await _read(receive, body, self.most_bytes, _said_length(scope))
            except _TooLargeError:
                await _refuse(send, self.most_bytes)
                return
            if length is None:
                return
            body.seek(0)
            environ = _environ(scope, body, length)
            if is_heartbeat(scope):
                status, headers, content = await self._in_turn(environ)
            else:
                status, headers, content = await self._at_once(environ)
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": content})

    async def _in_turn(self, environ: Environ) -> "Answer":
        async with self._turn:
            left_s = self._last_began + HELD_S - asyncio.get_running_loop().time()
            if left_s > 0:
                with suppress(TimeoutError):
                    await asyncio.wait_for(self._quiet.wait(), left_s)
            return await self._by(self._heartbeats, environ)

    async def _at_once(self, environ: Environ) -> "Answer":
        if environ["REQUEST_METHOD"] != "POST":
            return await self._by(self._others, environ)
        self._changes, self._last_began = self._changes + 1, asyncio.get_running_loop().time()
        self._quiet.clear()
        try:
            return await self._by(self._others, environ)
        finally:
            self._changes -= 1
            if not self._changes:
                self._quiet.set()

    async def _by(self, threads: ThreadPoolExecutor, environ: Environ) -> "Answer":
        return await asyncio.get_running_loop().run_in_executor(threads, _answer, self.answering, environ)


Answer = tuple[int, list[tuple[bytes, bytes]], bytes]
"""Status, headers, content."""


class _TooLargeError(Exception):
    """The body is larger than is taken."""


def _said_length(scope: Scope) -> int:
    """The length that a request says its body has; 0 where it says none."""
    said = next((value for name, value in scope["headers"] if name.lower() == b"content-length"), b"")
    return whole_number(said.decode("latin-1")) or 0


async def _refuse(send: Send, most_bytes: int) -> None:
    words = f"What was sent is larger than {most_bytes // 1024**2} MB, the most that is taken."
    content = json.dumps({"detail": words, "problems": []}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(content)).encode()),
        (b"cache-control", b"no-store"),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": 413, "headers": headers})
    await send({"type": "http.response.body", "body": content})


async def _read(receive: Receive, body: IO[bytes], most: int, said: int) -> int | None:
    """The whole body; its length, or None if whoever asked went away. Raises _TooLargeError beyond `most`
    bytes, at once where the request says (`said`) that there are more."""
    if said > most:
        raise _TooLargeError
    length = 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return None
        piece = message.get("body", b"")
        if length + len(piece) > most:
            raise _TooLargeError
        length += body.write(piece)
        if not message.get("more_body", False):
            return length


def _answer(answering: Answering, environ: Environ) -> Answer:
    """In a thread: the whole answer."""
    begun: list[tuple[int, list[tuple[bytes, bytes]]]] = []

    def start(status: str, headers: list[tuple[str, str]], _problem: object = None) -> None:
        plain = [(name.lower().encode("latin-1"), value.strip().encode("latin-1")) for name, value in headers]
        begun[:] = [(int(status.split(" ", 1)[0]), plain)]

    pieces = answering(environ, start)
    try:
        content = b"".join(pieces)
    finally:
        close = getattr(pieces, "close", None)
        if close:
            close()
    return *begun[0], content


def _environ(scope: Scope, body: IO[bytes], length: int) -> Environ:
    """The request as PEP 3333 has it."""
    server, client = scope.get("server") or ("localhost", 80), scope.get("client")
    environ: Environ = {
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": "",
        "PATH_INFO": scope["path"].encode().decode("latin-1"),
        "QUERY_STRING": scope["query_string"].decode("latin-1"),
        "SERVER_PROTOCOL": f"HTTP/{scope['http_version']}",
        "SERVER_NAME": server[0],
        "SERVER_PORT": str(server[1] or 0),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope.get("scheme", "http"),
        "wsgi.input": body,
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": False,
        "wsgi.run_once": False,
    }
    if client:
        environ["REMOTE_ADDR"], environ["REMOTE_PORT"] = client[0], str(client[1])
    for raw_name, raw_value in scope["headers"]:
        name, value = raw_name.decode("latin-1"), raw_value.decode("latin-1")
        if "_" in name:
            continue  # would read as another header's name (X_Forwarded_Proto)
        key = f"HTTP_{name.upper().replace('-', '_')}"
        if key in ("HTTP_CONTENT_TYPE", "HTTP_CONTENT_LENGTH"):
            key = key.removeprefix("HTTP_")
        if key in environ:
            value = f"{environ[key]}{'; ' if key == 'HTTP_COOKIE' else ','}{value}"
        environ[key] = value
    environ["CONTENT_LENGTH"] = str(length)
    return environ
