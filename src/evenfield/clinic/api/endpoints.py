"""The API itself: each operation with the permission it needs, as stated on the pages."""

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from ninja import NinjaAPI, Status
from ninja.errors import HttpError, ValidationError
from ninja.security import HttpBearer

from evenfield import __version__
from evenfield.clinic.api.models import ApiToken
from evenfield.clinic.api.shapes import MOST_AT_ONCE, Problem
from evenfield.clinic.api.tokens import MOST_A_MINUTE
from evenfield.clinic.audit import trail
from evenfield.clinic.audit.models import Action
from evenfield.clinic.people.models import Person
from evenfield.clinic.people.views import present_person

PREFIX = "/api/"
api = NinjaAPI(
    title="evenfield",
    version=__version__,
    description="The record of a clinic: people, measurements, courses, visits. It advises and records; it "
    "controls no device. Every request needs a personal token, which never does more than its owner may, and "
    f"with which {MOST_A_MINUTE} requests a minute are answered (beyond them 429 with Retry-After). Lists "
    f"come in parts: `limit` (100, at most {MOST_AT_ONCE}) and `offset`; `total` says how many there are.",
    docs_url=None,
    openapi_url=None,
    urls_namespace="api",
)


class TokenAuth(HttpBearer):
    """A token that allows one permission; that there is one that works was seen to before (`by_token`)."""

    def __init__(self, permission: str) -> None:
        super().__init__()
        self.permission = permission

    def __call__(self, request: HttpRequest) -> ApiToken:
        """The token; one that does not allow this leads to 403."""
        token: ApiToken = request.api_token  # type: ignore[attr-defined]
        if not token.allows(self.permission):
            trail.record(Action.REFUSED, note=f"{self.permission} by token {token.pk}")
            raise HttpError(403, f"This token does not allow {self.permission}.")
        return token

    def authenticate(self, request: HttpRequest, token: str) -> ApiToken | None:
        """Not used: the token was looked up once for the whole request."""
        raise NotImplementedError


Endpoint = Callable[..., Any]


def operation(
    method: str, path: str, permission: str, *, name: str, gives: dict[int, Any]
) -> Callable[[Endpoint], Endpoint]:
    """Register an operation: method, path, the permission it needs, its route's name, what it answers."""
    answers = {401: Problem, 403: Problem, 422: Problem, 429: Problem, **gives}
    if "{" in path:
        answers[404] = Problem
    if method == "POST":
        answers[400] = Problem  # not JSON

    def register(function: Endpoint) -> Endpoint:
        text = (function.__doc__ or "").strip()
        registered = api.api_operation(
            [method],
            path,
            auth=TokenAuth(permission),
            response=answers,
            operation_id=function.__name__,
            url_name=name,
            summary=text.splitlines()[0],
            description=f"{text}\n\nNeeds the permission `{permission}`.",
            openapi_extra={"x-permission": permission},
        )
        made: Endpoint = registered(function)
        return made

    return register


def someone(code: str) -> Person:
    """The person of a code who was not erased; else 404."""
    return present_person(code)


def looked_at(kind: str, key: object, subject: int | None, note: str = "") -> None:
    """Record that something was looked at."""
    trail.record(Action.READ, kind=kind, object_id=key, subject_id=subject, note=note)


@api.exception_handler(Http404)
def _not_found(request: HttpRequest, _error: Any) -> HttpResponse:
    return api.create_response(request, {"detail": "There is nothing here.", "problems": []}, status=404)


@api.exception_handler(HttpError)
def _refused(request: HttpRequest, error: Any) -> HttpResponse:
    return api.create_response(request, {"detail": str(error), "problems": []}, status=error.status_code)


@api.exception_handler(ValidationError)
def _invalid(request: HttpRequest, error: Any) -> HttpResponse:
    """What is wrong where; what was sent is not repeated."""
    problems = [
        f"{'.'.join(str(part) for part in one['loc'][1:]) or one['loc'][0]}: {one['msg']}"
        for one in error.errors
    ]
    words = "What was sent does not fit."
    return api.create_response(request, {"detail": words, "problems": problems}, status=422)


def unfit(form: Any) -> Status[dict[str, Any]]:
    """A form's errors as an answer."""
    problems = [
        f"{form.fields[name].label}: {problem}" if name in form.fields else str(problem)
        for name, found in form.errors.items()
        for problem in found
    ]
    return Status(422, {"detail": "What was sent does not fit.", "problems": problems})
