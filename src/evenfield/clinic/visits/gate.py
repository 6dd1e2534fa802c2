"""Entries go first: what pages ask by themselves every second waits in line, what people enter does not.

Python answers one thing at a time. Fifty rooms asking at once would make an entry wait for all of them; so
only `SLOTS` of these questions are worked on at once, from the first middleware on, and the others wait.
"""

import threading
from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase

SLOTS = 1
_slots = threading.BoundedSemaphore(SLOTS)


class HeartbeatGate:
    """Lets a few heartbeats through at a time, and everything else at once."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer, a heartbeat in its turn."""
        if request.method == "GET" and request.path_info.endswith("/now/"):
            with _slots:
                return self.get_response(request)
        return self.get_response(request)
