"""The short way of a heartbeat: one question to the database tells that its right to ask is as it was.

A browser's first heartbeat goes through every check of the clinic, and what these rested on is remembered:
session, password and roles, as a digest. While one question finds them the same, the account in use, the
device neither ended nor locked nor left alone too long, the checks would end as before, and the answer is
given at once. Anything else takes the whole way, which then locks, refuses or leads to sign-in as ever.
"""

import re
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import blake2b
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import connection
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone, translation
from django.utils.dateparse import parse_datetime

from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.accounts.models import DeviceSession
from evenfield.clinic.courses.models import Visit

_PLACE = re.compile(r"/visits/(\d{1,18})/now/")
_MOST = 500
_QUESTION = """
SELECT s.session_data, a.password, a.roles_text, s.expire_date, a.is_active, d.locked, d.last_active,
  d.started, d.ended, c.idle_minutes, c.time_zone, c.locale, v.state, v.started_at, v.ended_at,
  (SELECT MAX(e.number) FROM visits_visitentry e WHERE e.visit_id = v.id)
FROM django_session s
JOIN accounts_devicesession d ON d.id = %s
JOIN accounts_account a ON a.id = d.account_id
JOIN pages_clinic c ON c.id = (SELECT MIN(id) FROM pages_clinic)
JOIN courses_visit v ON v.id = %s
JOIN courses_course k ON k.id = v.course_id
JOIN people_person p ON p.id = k.person_id AND p.erased IS NULL
WHERE s.session_key = %s
"""


@dataclass(frozen=True)
class _Known:
    """Of a session: its device, and the digest of what the checks rested on."""

    device: int
    digest: bytes


_known: OrderedDict[str, _Known] = OrderedDict()


def remember(request: StaffRequest) -> None:
    """The whole way led here with this session, device and account."""
    key = request.session.session_key
    data = Session.objects.filter(session_key=key).values_list("session_data", flat=True).first()
    if key is None or data is None or request.session.decode(data) != dict(request.session.items()):
        return
    user = request.user
    _known[key] = _Known(request.device.pk, _digest(data, user.password, user.roles_text))
    _known.move_to_end(key)
    while len(_known) > _MOST:
        _known.popitem(last=False)


def _digest(session: str, password: str, roles: str) -> bytes:
    return blake2b("\0".join((session, password, roles)).encode(), digest_size=32).digest()


class ShortWay:
    """Answers a heartbeat where one question allows it; everything else takes the whole way."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        place = _PLACE.fullmatch(request.path_info) if request.method == "GET" else None
        return (place and _answer(request, int(place[1]))) or self.get_response(request)


def _answer(request: HttpRequest, number: int) -> HttpResponse | None:
    from evenfield.clinic.visits.views_live import told

    received = timezone.now()
    key = request.COOKIES.get(settings.SESSION_COOKIE_NAME, "")
    known = _known.get(key)
    row = _row(known.device, number, key) if known else None
    if known is None or row is None:
        return None
    session, password, roles, expires, in_use, locked, active, signed_in, ended, idle, zone, locale = row[:12]
    state, started_at, ended_at, newest = row[12:]
    allowed = (
        _digest(session, password, roles) == known.digest
        and in_use
        and not locked
        and ended is None
        and _moment(expires) > received
        and received - _moment(signed_in) < DeviceSession.LIFETIME
        and received - _moment(active) <= timedelta(minutes=idle)
    )
    if not allowed or not newest or started_at is None:
        return None
    visit = Visit(
        pk=number,
        state=state,
        started_at=started_at and _moment(started_at),
        ended_at=ended_at and _moment(ended_at),
    )
    with timezone.override(ZoneInfo(zone)), translation.override(locale):
        return told(request, visit, newest, received)


def _row(device: int, number: int, session: str) -> tuple[Any, ...] | None:
    with connection.cursor() as cursor:
        cursor.execute(_QUESTION, [device, number, session])
        found: tuple[Any, ...] | None = cursor.fetchone()
    return found


def _moment(kept: datetime | str) -> datetime:
    """A time as the database gives it: PostgreSQL with its zone, SQLite as text in UTC."""
    moment = parse_datetime(kept) if isinstance(kept, str) else kept
    assert moment
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
