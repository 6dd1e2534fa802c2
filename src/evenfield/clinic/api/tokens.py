"""Tokens made, looked up and ended, and the one who acts by them."""

import hashlib
import secrets
from collections.abc import Callable, Iterable
from datetime import timedelta
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.utils import timezone

from evenfield.clinic.access import open_to_all
from evenfield.clinic.accounts import throttle
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.api.models import ApiToken, ApiTokenUse
from evenfield.clinic.audit.actor import acting

_MARK = "evf_"  # so that a secret left in a file is recognised as one
_RESOLUTION = timedelta(minutes=1)


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
        with acting(token.account.actor(f"{throttle.address_of(request)}, token {token.pk}")):
            return view(request, *args, **kwargs)

    return open_to_all(served)


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode(errors="replace")).hexdigest()
