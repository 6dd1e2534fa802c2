"""Tokens made, looked up and ended, and the one who acts by them."""

import hashlib
import math
import secrets
from collections.abc import Callable, Iterable
from datetime import timedelta
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.utils import timezone
from ninja.throttling import SimpleRateThrottle

from evenfield.clinic.access import open_to_all
from evenfield.clinic.accounts import throttle
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.api.models import ApiToken, ApiTokenUse
from evenfield.clinic.audit.actor import acting

_MARK = "evf_"  # so that a secret left in a file is recognised as one
_RESOLUTION = timedelta(minutes=1)
MOST_A_MINUTE = 600
"""Requests answered with one token: ten a second, several times what a thermometer or a wall screen needs."""


def make_token(account: Account, name: str, permissions: Iterable[str], days: int) -> str:
    """A new token; the secret is returned once and not kept (256 bits, ASVS 7.2.3 asks for 128)."""
    secret = _MARK + secrets.token_urlsafe(32)
    ApiToken(
        account=account,
        name=name,
        digest=_digest(secret),
        permissions_text=" ".join(sorted(permissions)),
        expires=timezone.now() + timedelta(days=days),
    ).save()
    return secret


def end_token(token: ApiToken) -> None:
    """It works no longer, from now on."""
    if token.ended is None:
        token.ended = timezone.now()
        token.save()


def working_tokens(account: Account) -> list[ApiToken]:
    """The account's tokens that were not ended, and have not run out."""
    return list(ApiToken.objects.filter(account=account, ended__isnull=True, expires__gt=timezone.now()))


def token_of(request: HttpRequest) -> ApiToken | None:
    """The token a request shows, if it works."""
    kind, _, secret = request.headers.get("Authorization", "").partition(" ")
    if kind.lower() != "bearer" or not secret:
        return None
    found = ApiToken.objects.select_related("account").filter(digest=_digest(secret.strip())).first()
    now = timezone.now()
    if not isinstance(found, ApiToken) or not found.works(now):
        return None
    used = ApiTokenUse.objects.filter(token=found).values_list("at", flat=True).first()
    if used is None or now - used > _RESOLUTION:
        ApiTokenUse.objects.update_or_create(token=found, defaults={"at": now})
    return found


class TokenRate(SimpleRateThrottle):
    """How often a token was used in the last minute, counted in this process; made anew for each request,
    because it keeps the request's own numbers."""

    def get_cache_key(self, request: HttpRequest) -> str:
        """By the token, wherever it is used from."""
        token: ApiToken = request.api_token  # type: ignore[attr-defined]
        return f"requests by token {token.digest[:32]}".replace(" ", "-")


def by_token(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Serve a view in the name of the token's owner, else 401; sessions of the pages count for nothing."""

    @wraps(view)
    def served(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        token = token_of(request)
        if token is None:
            words = "This needs a token that works: Authorization: Bearer …"
            headers = {"WWW-Authenticate": "Bearer"}
            return JsonResponse({"detail": words, "problems": []}, status=401, headers=headers)
        request.api_token = token  # type: ignore[attr-defined]
        rate = TokenRate(f"{MOST_A_MINUTE}/min")
        if not rate.allow_request(request):
            wait_s = max(1, math.ceil(rate.wait() or 0))
            words = f"With one token {MOST_A_MINUTE} requests a minute are answered: ask again in {wait_s} s."
            return JsonResponse(
                {"detail": words, "problems": []}, status=429, headers={"Retry-After": str(wait_s)}
            )
        with acting(token.account.actor(f"{throttle.address_of(request)}, token {token.pk}")):
            answer = view(request, *args, **kwargs)
        if answer.status_code == 405:
            allowed = answer.headers.get("Allow", "")
            words = f"{request.method} is not possible here" + (f"; possible: {allowed}." if allowed else ".")
            return JsonResponse({"detail": words, "problems": []}, status=405, headers={"Allow": allowed})
        return answer

    return open_to_all(served)


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode(errors="replace")).hexdigest()
