"""Photographs of a person: keeping one, withdrawing one, and which one is the first of its pose."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from evenfield.body import RegionKind
from evenfield.clinic.measuring.plan import REGION_WORDS
from evenfield.clinic.people.models import Person
from evenfield.clinic.photographs import store
from evenfield.clinic.photographs.models import Kind, PhotoEntry
from evenfield.clinic.photographs.picture import Picture

VIEWS = {
    "front": "from the front",
    "left": "from the left",
    "right": "from the right",
    "back": "from behind",
    "front_left": "from the front left",
    "front_right": "from the front right",
    "back_left": "from behind left",
    "back_right": "from behind right",
}
POSTURES = {"standing": "standing", "sitting": "sitting", "lying": "lying"}


@dataclass(frozen=True)
class Photograph:
    """One photograph.

    Attributes:
        number: of its entry; at, by: when and who took it.
        region, side, view, posture: the pose; only photographs of one pose are laid over each other.
        distance_m: from the lens to the skin; light, note: as written.
        withdrawn: the reason, "" while it stands.
    """

    number: int
    at: datetime
    by: str
    region: RegionKind
    side: str
    view: str
    posture: str
    distance_m: float
    light: str
    note: str
    file: str
    sha256: str
    width: int
    height: int
    withdrawn: str

    @property
    def pose(self) -> tuple[str, str, str, str]:
        """What must be equal for an overlay."""
        return (self.region, self.side, self.view, self.posture)

    @property
    def words(self) -> str:
        """The pose in words."""
        where = f"{self.side} {REGION_WORDS[self.region]}".strip()
        return f"{where}, {VIEWS[self.view]}, {POSTURES[self.posture]}".capitalize()

    @property
    def distance_words(self) -> str:
        """The distance in words."""
        return f"{self.distance_m:.2f} m"


def album(person: Person) -> list[Photograph]:
    """All photographs of this person, newest first."""
    rows = PhotoEntry.about([one.pk for one in person.one_person()])
    withdrawn = {row.content["about"]: row.content["reason"] for row in rows if row.kind == Kind.WITHDRAWAL}
    return [
        _photograph(row, row.content, withdrawn.get(row.number, ""))
        for row in rows
        if row.kind == Kind.PHOTOGRAPH
    ]


def first_of_pose(photographs: list[Photograph], one: Photograph) -> Photograph | None:
    """The oldest standing photograph of the same pose, None if `one` is the oldest itself."""
    same = [other for other in photographs if other.pose == one.pose and not other.withdrawn]
    return same[-1] if same and same[-1].number != one.number else None


def keep_photograph(person: Person, picture: Picture, said: Mapping[str, Any]) -> PhotoEntry:
    """Write the picture to the disk, then the entry; without the entry the picture is removed again.

    `said` holds region, side, view, posture, distance_m, light and note.
    """
    name = store.write(picture.jpeg, picture.small)
    content = {
        "region": said["region"],
        "side": said["side"],
        "view": said["view"],
        "posture": said["posture"],
        "distance_m": said["distance_m"],
        "light": said["light"],
        "note": said["note"],
        "agreed": True,
        "file": name,
        "sha256": hashlib.sha256(picture.jpeg).hexdigest(),
        "width": picture.width,
        "height": picture.height,
    }
    try:
        with transaction.atomic():
            return PhotoEntry.keep(Kind.PHOTOGRAPH, person.pk, content)
    except BaseException:
        store.remove(name)
        raise


def withdraw(person: Person, one: Photograph, reason: str) -> PhotoEntry:
    """Take a photograph out of every view; entry and picture stay until the person is erased."""
    return PhotoEntry.keep(Kind.WITHDRAWAL, person.pk, {"about": one.number, "reason": reason})


def _photograph(row: PhotoEntry, content: Mapping[str, Any], withdrawn: str) -> Photograph:
    return Photograph(
        number=row.number,
        at=row.at,
        by=row.actor,
        region=RegionKind(content["region"]),
        side=content["side"],
        view=content["view"],
        posture=content["posture"],
        distance_m=content["distance_m"],
        light=content["light"],
        note=content["note"],
        file=content["file"],
        sha256=content["sha256"],
        width=content["width"],
        height=content["height"],
        withdrawn=withdrawn,
    )
