"""Handing over and erasing one person's photographs."""

from django.db import transaction

from evenfield.clinic.parts import Holding
from evenfield.clinic.people.models import Person
from evenfield.clinic.photographs import store
from evenfield.clinic.photographs.models import Kind, PhotoEntry


def exported(people: list[Person]) -> Holding:
    """All entries, and the pictures that stand; a withdrawn one may show someone else."""
    rows = PhotoEntry.about([person.pk for person in people])
    withdrawn = {row.content["about"] for row in rows if row.kind == Kind.WITHDRAWAL}
    files: dict[str, bytes] = {}
    data = []
    for row in reversed(rows):
        content = dict(row.content)
        name = content.pop("file", "")
        if name and row.number not in withdrawn and store.path_of(name).exists():
            content["picture"] = f"{row.number}.jpg"
            files[content["picture"]] = store.path_of(name).read_bytes()
        data.append({"number": row.number, "at": row.at, "kind": row.kind, "roles": row.roles, **content})
    return Holding({"photographs": data}, files)


def erase(people: list[Person]) -> None:
    """Remove the content now, and the pictures as soon as the transaction is through."""
    numbers = [person.pk for person in people]
    names = [row.content["file"] for row in PhotoEntry.about(numbers) if row.kind == Kind.PHOTOGRAPH]
    PhotoEntry.forget(numbers)

    def remove() -> None:
        for name in names:
            store.remove(name)

    transaction.on_commit(remove)
