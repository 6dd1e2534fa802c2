"""Invented photographs: drawn shapes, no picture of anyone."""

import io
from datetime import timedelta

from PIL import Image, ImageDraw

from evenfield.clinic.audit.invented import invented_at
from evenfield.clinic.courses.demonstration import done_visits
from evenfield.clinic.people.models import Person
from evenfield.clinic.photographs.album import keep_photograph
from evenfield.clinic.photographs.picture import Picture, read_picture


def make_photographs() -> None:
    """Two of one pose, before the first visit and today, and one of another."""
    person = Person.objects.get(family_name="Holvat")
    said = {
        "region": "thigh",
        "side": "left",
        "view": "front",
        "posture": "standing",
        "distance_m": 1.2,
        "light": "two ceiling lamps, blinds down",
        "note": "Invented: a drawing, not a photograph.",
    }
    first = next(visit for visit in done_visits() if visit.person == person)
    assert first.started_at
    with invented_at(first.started_at - timedelta(minutes=50)):
        keep_photograph(person, drawn(150), said)
    keep_photograph(person, drawn(140), said)
    keep_photograph(person, drawn(120), {**said, "view": "left", "distance_m": 1.5})


def drawn(half_width: int) -> Picture:
    """A leg as a child would draw it."""
    picture = Image.new("RGB", (900, 1200), "#d9d4cc")
    pen = ImageDraw.Draw(picture)
    pen.polygon(
        [(450 - half_width, 0), (450 + half_width, 0), (520, 820), (500, 1200), (400, 1200), (380, 820)],
        fill="#b98f77",
    )
    pen.ellipse((395, 780, 505, 900), fill="#a97e66")
    for mark in (250, 450, 650):
        pen.line((450 - 20, mark, 450 + 20, mark), fill="#262229", width=6)
    buffer = io.BytesIO()
    picture.save(buffer, "PNG")
    return read_picture(buffer.getvalue())
