"""The clinic's server as the feed sees it: a visit's zones, and readings entered by a personal token."""

from __future__ import annotations

import http.client
import ipaddress
import json
import time
import urllib.error
import urllib.request
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from email.utils import parsedate_to_datetime
from typing import Any
from urllib.parse import urlsplit

from evenfield.thermometer.outbox import WaitingReading
from evenfield.thermometer.reading import plain

PATIENCE_S = 5.0
_HALF_S = 500.0  # the header Date is cut to whole seconds: on average it is half a second late (ms)


class ServerAwayError(Exception):
    """No answer, or one of a server in trouble: to be tried again. One clear sentence."""


class ServerRefusedError(Exception):
    """The server answered that it will not do this; the message is its sentence."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


@dataclass(frozen=True)
class LiveVisit:
    """A visit as the server told: its state, when it began and ended (with zone), the zones of skin."""

    state: str
    began: datetime | None
    ended: datetime | None
    zones: tuple[str, ...]


@dataclass(frozen=True)
class SentAnswer:
    """What became of one reading; `refused` is "" for one that was kept."""

    id: str
    refused: str


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """A redirect would take the token to another address."""

    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


class ClinicServer:
    """One server. `offset_ms`: how far its clock was ahead of this one's at its last answer, if known."""

    def __init__(self, address: str, token: str) -> None:
        self.address = checked_address(address)
        self._headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        # no proxy: the clinic's server is this computer or one of its own network
        self._opener = urllib.request.build_opener(urllib.request.ProxyHandler({}), _NoRedirect())
        self.offset_ms: float | None = None

    def visit(self, number: int) -> LiveVisit:
        """Ask about a visit. Raises `ServerAwayError`, `ServerRefusedError`."""
        told = self._ask(f"visits/{number}/live")
        try:
            began, ended = (
                datetime.fromisoformat(told[name]) if told[name] else None
                for name in ("started_at", "ended_at")
            )
            return LiveVisit(str(told["state"]), began, ended, tuple(map(str, told["zones"])))
        except (TypeError, KeyError, ValueError) as error:
            raise ServerAwayError(f"{self.address} answers as no clinic of evenfield does.") from error

    def enter(
        self, number: int, readings: Sequence[WaitingReading], patience_s: float = PATIENCE_S
    ) -> list[SentAnswer]:
        """Enter readings; the answers come after the commit. Raises as `visit` does."""
        body = {
            "sent_ms": time.time() * 1000.0,
            "readings": [{"id": one.id, **one.content} for one in readings],
        }
        told = self._ask(f"visits/{number}/readings", body, patience_s)
        try:
            answers = [SentAnswer(one["id"], "" if one["kept"] else one["refused"]) for one in told]
        except (TypeError, KeyError) as error:
            raise ServerAwayError(f"{self.address} answers as no clinic of evenfield does.") from error
        if [one.id for one in answers] != [one.id for one in readings]:
            raise ServerAwayError(f"{self.address} answered about other readings than were sent.")
        return answers

    def _ask(self, path: str, body: object = None, patience_s: float = PATIENCE_S) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(f"{self.address}api/{path}", data, self._headers)
        sent = time.time()
        try:
            with self._opener.open(request, timeout=patience_s) as answer:
                text, date = answer.read(), answer.headers.get("Date")
        except urllib.error.HTTPError as error:
            with error:
                raise self._refusal(error) from None
        except (OSError, http.client.HTTPException) as error:
            reason = getattr(error, "reason", error)
            raise ServerAwayError(f"{self.address} does not answer: {plain(reason)}") from error
        self._compare_clocks(date, sent)
        try:
            return json.loads(text)
        except ValueError as error:
            raise ServerAwayError(f"{self.address} answers as no clinic of evenfield does.") from error

    def _refusal(self, error: urllib.error.HTTPError) -> Exception:
        try:
            told = json.loads(error.read())
            words = "; ".join([told["detail"], *told.get("problems", [])])
        except (OSError, http.client.HTTPException, ValueError, TypeError, KeyError):
            words = ""
        if error.code in {401, 403, 404, 422} and words:
            return ServerRefusedError(error.code, words)
        return ServerAwayError(
            f"{self.address} answers {error.code}: {words or error.reason or 'no reason'}."
        )

    def _compare_clocks(self, date: str | None, sent: float) -> None:
        try:
            theirs = parsedate_to_datetime(date or "").timestamp() * 1000.0 + _HALF_S
        except ValueError:
            self.offset_ms = None
        else:
            self.offset_ms = theirs - (sent + time.time()) / 2.0 * 1000.0


def checked_address(address: str) -> str:
    """The address with a slash at its end. Raises ValueError in one sentence for one that may not be used.

    A token is sent in clear over http, so that is for this computer only; elsewhere it takes https.
    """
    parts = urlsplit(address)
    if parts.scheme not in {"http", "https"} or not parts.hostname or parts.query or parts.fragment:
        raise ValueError(f"“{address}” is no address such as http://127.0.0.1:8321.")
    if parts.scheme == "http" and not _this_computer(parts.hostname):
        raise ValueError(f"{address}: the token would go over the network in clear; use https there.")
    return address.rstrip("/") + "/"


def _this_computer(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
