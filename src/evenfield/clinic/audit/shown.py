"""Lines of the trail as the page shows them: in whose record, by which role, with what was there before."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.models import AuditDetail, AuditEvent
from evenfield.clinic.audit.recorded import NOT_SHOWN
from evenfield.clinic.people.models import Person

LONGEST = 2000
"""Characters shown of one value; a whole plan is one."""
_PERSON, _ACCOUNT = "people.person", "accounts.account"


@dataclass(frozen=True)
class ShownValue:
    """One field, before and after; "" where there was none."""

    name: str
    before: str
    after: str


@dataclass(frozen=True)
class ShownEvent:
    """One line.

    Attributes:
        event: the entry.
        what: the kind of thing, with its number unless it is shown as a person or an account.
        roles: the roles of the one who acted, in words.
        person: whose record, None for what is about nobody or a record that is not there.
        account: the account meant, None if it is about none.
        values: before and after; empty if there were none, or their person was erased.
        erased: names of fields whose content was erased.
    """

    event: AuditEvent
    what: str
    roles: str
    person: Person | None
    account: Account | None
    values: tuple[ShownValue, ...]
    erased: str


def shown_events(events: Sequence[AuditEvent]) -> list[ShownEvent]:
    """These entries, read with their `detail`; two more questions to the database, however many they are."""
    subjects = {event.subject_id for event in events if event.subject_id is not None}
    numbers = {
        int(event.object_id) for event in events if event.kind == _ACCOUNT and event.object_id.isdigit()
    }
    people = Person.objects.in_bulk(subjects)
    accounts = Account.objects.in_bulk(numbers)
    return [_shown(event, people, accounts) for event in events]


def _shown(event: AuditEvent, people: dict[int, Person], accounts: dict[int, Account]) -> ShownEvent:
    person = people.get(event.subject_id or 0)
    of_account = event.kind == _ACCOUNT and event.object_id.isdigit()
    account = accounts.get(int(event.object_id)) if of_account else None
    named = (event.kind == _PERSON and person is not None) or account is not None
    detail: AuditDetail | None = getattr(event, "detail", None)
    return ShownEvent(
        event,
        event.thing if named else event.what,
        ", ".join(event.roles.replace(",", " ").split()).replace("_", " "),
        person,
        account,
        tuple(_values(event.kind, json.loads(detail.content))) if detail else (),
        event.fields if event.detail_digest and not detail else "",
    )


def _values(kind: str, content: dict[str, dict[str, Any]]) -> Iterator[ShownValue]:
    before, after = content["before"], content["after"]
    for name in dict.fromkeys([*after, *before]):
        yield ShownValue(_field_words(kind, name), _words(before, name), _words(after, name))


def _field_words(kind: str, name: str) -> str:
    try:
        field: Any = apps.get_model(kind)._meta.get_field(name)
    except (LookupError, ValueError, FieldDoesNotExist):
        return name
    return str(field.verbose_name)


def _words(content: dict[str, Any], name: str) -> str:
    if name not in content:
        return ""
    value = content[name]
    if isinstance(value, str):
        text = "not shown" if value.startswith(NOT_SHOWN) else value or "empty"
    elif value is None or isinstance(value, bool):
        text = {None: "empty", True: "yes", False: "no"}[value]
    else:
        text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= LONGEST else f"{text[:LONGEST]} … ({len(text)} characters)"
