"""Readings on their way: on disk first, once each, and gone only with the server's answer."""

import http.server
import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from inspect import signature
from pathlib import Path
from typing import Any, ClassVar

import pytest

from evenfield.cli.thermometer import thermometer
from evenfield.thermometer import (
    DEFAULT_ERROR_K,
    ClinicServer,
    Outbox,
    OutboxError,
    ServerAwayError,
    ServerRefusedError,
)
from evenfield.thermometer.outbox import WaitingReading

SERVER = "http://127.0.0.1:8321/"
READING = {"wrote_ms": 1.0, "offset_ms": None, "zone": "a", "celsius": 35.0, "error_k": 0.5}


def test_a_reading_stays_until_it_is_answered_and_is_one_however_often_it_is_put(tmp_path: Path) -> None:
    box = Outbox(tmp_path / "new folder" / "waiting", SERVER, 7)
    box.put("first-reading", READING)
    box.put("second-reading", READING | {"celsius": 36.0})
    box.put("first-reading", READING | {"celsius": 99.0})
    other = Outbox(tmp_path / "new folder" / "waiting", SERVER, 8)
    other.put("first-reading", READING)
    box.close()
    again = Outbox(tmp_path / "new folder" / "waiting", SERVER, 7)
    assert [(one.id, one.content["celsius"]) for one in again.waiting()] == [
        ("first-reading", 35.0),
        ("second-reading", 36.0),
    ]
    again.settle("first-reading")
    again.settle("second-reading", "no such zone")
    assert again.waiting() == []
    assert [(one.id, one.refused) for one in again.refused()] == [("second-reading", "no such zone")]
    again.put("second-reading", READING | {"zone": "b"})
    assert [one.content["zone"] for one in again.waiting()] == ["b"]
    again.settle("second-reading", "not at all")
    again.forget_refused()
    assert again.refused() == []
    assert len(other.waiting()) == 1
    assert (tmp_path / "new folder" / "waiting").stat().st_mode & 0o077 == 0
    again.close()
    other.close()


_PUT_AND_DIE = """
import os, signal, sys
from pathlib import Path
from evenfield.thermometer import Outbox
box = Outbox(Path(sys.argv[1]), "http://127.0.0.1:8321/", 7)
for number in range(20):
    box.put(f"reading-{number}", {"number": number})
    print(number, flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_what_was_put_survives_kill_9(tmp_path: Path) -> None:
    call = [sys.executable, "-c", _PUT_AND_DIE, str(tmp_path / "waiting")]
    died = subprocess.run(call, capture_output=True, text=True, check=False)
    assert died.returncode == -9
    box = Outbox(tmp_path / "waiting", SERVER, 7)
    assert [one.content["number"] for one in box.waiting()] == list(range(20))
    box.close()


def test_a_file_that_cannot_be_used_is_said_in_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "text").write_text("not a database, but long enough to be taken for one\n" * 99)
    with pytest.raises(OutboxError, match="cannot be kept in"):
        Outbox(tmp_path / "text", SERVER, 7)


class Strange(http.server.BaseHTTPRequestHandler):
    """A server that answers as told."""

    status, body, headers_too = 200, b"", {}  # type: tuple[int, bytes, dict[str, str]]
    asked: ClassVar[list[str]] = []

    def do_GET(self) -> None:
        """Answer."""
        self.asked.append(self.path)
        self.send_response(self.status)
        for name, value in self.headers_too.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(self.body)

    do_POST = do_GET  # noqa: N815

    def log_message(self, *_: Any) -> None:
        """Quiet."""


@pytest.fixture
def strange() -> Iterator[tuple[type[Strange], ClinicServer]]:
    """Such a server, and a client of it."""

    class Mine(Strange):
        asked: ClassVar[list[str]] = []

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Mine) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield Mine, ClinicServer(f"http://127.0.0.1:{server.server_port}", "evf_secret")
        server.shutdown()
        thread.join()


@pytest.mark.parametrize(
    ("status", "body", "kind", "words"),
    [
        (500, b"oops", ServerAwayError, "answers 500"),
        (502, b"", ServerAwayError, "answers 502"),
        (302, b"", ServerAwayError, "answers 302"),
        (200, b"<html>", ServerAwayError, "answers as no clinic"),
        (200, b'{"kept": true}', ServerAwayError, "answers as no clinic"),
        (200, b'[{"id": "another-one", "kept": true, "refused": ""}]', ServerAwayError, "other readings"),
        (200, b"[]", ServerAwayError, "other readings"),
        (404, b"<html>", ServerAwayError, "answers 404"),
        (401, b'{"detail": "This needs a token."}', ServerRefusedError, "This needs a token."),
        (422, b'{"detail": "No.", "problems": ["a", "b"]}', ServerRefusedError, "No.; a; b"),
    ],
)
def test_only_an_answer_about_the_readings_sent_lets_go_of_them(
    strange: tuple[type[Strange], ClinicServer],
    status: int,
    body: bytes,
    kind: type[Exception],
    words: str,
) -> None:
    answers, server = strange
    answers.status, answers.body = status, body
    answers.headers_too = {"Location": f"{server.address}elsewhere"} if status == 302 else {}
    with pytest.raises(kind, match=words):
        server.enter(7, [WaitingReading("reading-1", READING)])
    assert answers.asked == ["/api/visits/7/readings"]  # the token followed no redirect


def test_the_servers_clock_is_told_by_its_answers(strange: tuple[type[Strange], ClinicServer]) -> None:
    answers, server = strange
    answers.body = json.dumps(
        {"state": "running", "started_at": None, "ended_at": None, "zones": ["a"]}
    ).encode()
    assert server.visit(7).zones == ("a",)
    assert server.offset_ms is not None
    assert abs(server.offset_ms) < 30_000


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("http://192.0.2.1:8321", "in clear; use https"),
        ("http://clinic.example/", "in clear; use https"),
        ("ftp://127.0.0.1", "no address such as"),
        ("127.0.0.1:8321", "no address such as"),
        ("https://", "no address such as"),
    ],
)
def test_a_token_never_goes_over_a_network_in_clear(address: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        ClinicServer(address, "evf_secret")


def test_https_elsewhere_and_http_on_this_computer_are_taken() -> None:
    for address in ("https://clinic.example/evenfield", "http://localhost:8321", "http://[::1]:8321/"):
        assert ClinicServer(address, "evf_secret").address == address.rstrip("/") + "/"


def test_the_command_gives_the_stated_error_unless_told_otherwise() -> None:
    assert signature(thermometer).parameters["error_k"].default == DEFAULT_ERROR_K
