"""Who may do what: roles, permissions, and the mark every view must carry.

A view without a mark is not served: the check below stops the program at start, and the access middleware
refuses it. Each part of the clinic states in its `parts.ClinicPart` which roles hold which permission.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Any, TypeVar

from django.apps import apps
from django.core.checks import CheckMessage, Error, register
from django.urls import URLPattern, URLResolver, get_resolver
from django.views.decorators.debug import sensitive_post_parameters

View = TypeVar("View", bound=Callable[..., Any])


class Role(StrEnum):
    """What a member of staff is in the clinic; one account may hold several roles."""

    OPERATOR = "operator"
    LEAD = "lead_clinician"
    TRAINER = "trainer"
    OWNER = "owner"

    @property
    def title(self) -> str:  # type: ignore[override]
        """The role as written on the screen."""
        return self.value.replace("_", " ")


CLINICAL = frozenset({Role.OPERATOR, Role.LEAD, Role.OWNER})


@dataclass(frozen=True)
class Rule:
    """What a view demands.

    Attributes:
        permission: the permission needed; "" for anyone signed in; None for anyone at all.
        activity: whether calling it shows that a person is at the screen (a heartbeat does not).
        while_locked: whether it may be called while the device is locked.
    """

    permission: str | None
    activity: bool = True
    while_locked: bool = False


def _mark(view: View, rule: Rule) -> View:
    view.access_rule = rule  # type: ignore[attr-defined]
    return view


def requires(permission: str, *, activity: bool = True) -> Callable[[View], View]:
    """The view may be used by accounts holding this permission."""
    return lambda view: _mark(view, Rule(permission, activity=activity))


def signed_in(*, activity: bool = True, while_locked: bool = False) -> Callable[[View], View]:
    """The view may be used by every signed-in account."""
    return lambda view: _mark(view, Rule("", activity=activity, while_locked=while_locked))


def open_to_all(view: View) -> View:
    """The view may be used by anyone who reaches the server."""
    return _mark(view, Rule(None, activity=False, while_locked=True))


def holds_secrets(view: View) -> View:
    """What is posted to the view holds a password, PIN or code: it is never kept, nor told in a report of an
    error."""
    marked: View = sensitive_post_parameters()(view)
    marked.holds_secrets = True  # type: ignore[attr-defined]
    return marked


def rule_of(view: Callable[..., Any]) -> Rule | None:
    """The mark of a view, or None if it carries none."""
    rule = getattr(view, "access_rule", None)
    return rule if isinstance(rule, Rule) else None


@cache
def grants() -> dict[str, frozenset[Role]]:
    """Every permission of the clinic and the roles that hold it, gathered from the parts."""
    from evenfield.clinic.parts import ClinicPart

    gathered: dict[str, frozenset[Role]] = {}
    for part in apps.get_app_configs():
        if isinstance(part, ClinicPart):
            gathered.update(part.grants)
    return gathered


def held_by(roles: frozenset[Role]) -> frozenset[str]:
    """All permissions that someone with these roles holds."""
    return frozenset(permission for permission, holders in grants().items() if holders & roles)


def routes(patterns: Sequence[URLPattern | URLResolver] | None = None) -> Iterator[URLPattern]:
    """Every route of the site."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(pattern, URLResolver):
            yield from routes(pattern.url_patterns)
        else:
            yield pattern


@register()
def every_route_states_who_may_use_it(**_: Any) -> list[CheckMessage]:
    """Django system check: each route carries a mark, and each permission named is granted to someone."""
    problems: list[CheckMessage] = []
    for route in routes():
        rule = rule_of(route.callback)
        if rule is None:
            problems.append(
                Error(f"The route {route.name!r} does not state who may use it.", id="evenfield.E001")
            )
        elif rule.permission and rule.permission not in grants():
            problems.append(
                Error(
                    f"The route {route.name!r} names {rule.permission!r}, which no part grants.",
                    id="evenfield.E002",
                )
            )
    return problems
