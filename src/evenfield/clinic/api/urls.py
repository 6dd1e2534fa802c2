"""Addresses of the API and of the page of tokens."""

from django.urls import URLPattern, path

from evenfield.clinic.api import courses, live, people, views
from evenfield.clinic.api.endpoints import api
from evenfield.clinic.api.tokens import by_token

__all__ = ["api", "urlpatterns"]
_OPERATIONS = (people, courses, live)  # importing them registers their operations


def _patterns() -> list[URLPattern]:
    """The API's routes, each once, served in the name of a token's owner."""
    found: dict[str, URLPattern] = {}
    for pattern in api.urls[0]:
        assert isinstance(pattern, URLPattern)
        name = str(pattern.name)
        if name not in found and name != "api-root":
            pattern.callback = by_token(pattern.callback)
            found[name] = pattern
    return list(found.values())


urlpatterns = [
    path("tokens/", views.tokens, name="api-tokens"),
    path("tokens/all/", views.all_tokens, name="all-api-tokens"),
    path("tokens/<int:number>/end/", views.end, name="end-api-token"),
    path("openapi.json", views.document, name="api-document"),
    *_patterns(),
    path("<path:rest>", views.nothing, name="api-nothing"),
]
