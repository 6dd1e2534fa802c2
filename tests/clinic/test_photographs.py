"""Photographs: pixels only, served to those who may, one pose over the visits, gone with the person."""

import io
import json
import stat
import zipfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, transaction
from django.test import Client
from PIL import Image, ImageCms, ImageDraw
from PIL.TiffImagePlugin import IFDRational

from evenfield.clinic.access import Role
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.people.leaving import EraseReason, erase, export_zip
from evenfield.clinic.people.models import Person
from evenfield.clinic.photographs import store
from evenfield.clinic.photographs.album import album, first_of_pose, keep_photograph
from evenfield.clinic.photographs.models import PhotoContent, PhotoEntry
from evenfield.clinic.photographs.picture import LONGEST_SIDE, MOST_PIXELS, PictureError, read_picture
from evenfield.clinic.upkeep.backup import _media_files

Browsers = Callable[..., Client]
People = Callable[..., Person]
SECRET = b"Harbour Lane 7"
SAID = {
    "region": "thigh",
    "side": "left",
    "view": "front",
    "posture": "standing",
    "light": "two lamps",
    "note": "",
}


@pytest.fixture(autouse=True)
def _clean(db: None) -> Iterator[None]:
    yield
    for path in store.folder().glob("*"):
        path.unlink()


def picture(kind: str = "JPEG", size: tuple[int, int] = (600, 450), mode: str = "RGB", **more: Any) -> bytes:
    """A drawn picture: its upper left quarter red."""
    drawn = Image.new(mode, size)
    if mode == "RGB":
        ImageDraw.Draw(drawn).rectangle((0, 0, size[0] // 2, size[1] // 2), fill="red")
    buffer = io.BytesIO()
    drawn.save(buffer, kind, **more)
    return buffer.getvalue()


def with_secrets(kind: str) -> bytes:
    """A picture with the place, an owner, a comment and a turned camera written into it."""
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: to be turned a quarter to the right
    exif[0x013B] = SECRET.decode()
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", (IFDRational(41), IFDRational(9), IFDRational(7))
    more: dict[str, Any] = {"exif": exif}
    if kind == "JPEG":
        more |= {"comment": SECRET, "xmp": b"<x>" + SECRET + b"</x>"}
    return picture(kind, **more)


def segments(jpeg: bytes) -> list[int]:
    """The markers of a JPEG file up to its pixels (ITU-T T.81, annex B)."""
    found, at = [], 2
    while jpeg[at + 1] != 0xDA:
        found.append(jpeg[at + 1])
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
    return found


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_place_owner_and_comment_are_gone_and_the_picture_stands_upright(kind: str) -> None:
    sent = with_secrets(kind)
    assert Image.open(io.BytesIO(sent)).getexif().get_ifd(0x8825)
    kept = read_picture(sent)
    assert (kept.width, kept.height) == (450, 600)
    for jpeg in (kept.jpeg, kept.small):
        assert SECRET not in jpeg
        # APP1 (Exif, XMP) to APP15 and comments; APP0 is JFIF's own density, no more
        assert not {*range(0xE1, 0xF0), 0xFE} & set(segments(jpeg))
        with Image.open(io.BytesIO(jpeg)) as again:
            red, green, _blue = again.convert("RGB").getpixel((again.width - 10, 10))  # type: ignore[misc]
        assert (red > 200, green < 60) == (True, True)


def test_the_size_is_bounded_and_clear_backgrounds_become_white() -> None:
    kept = read_picture(picture("JPEG", (5000, 2500)))
    assert (kept.width, kept.height) == (LONGEST_SIDE, LONGEST_SIDE // 2)
    assert Image.open(io.BytesIO(kept.small)).size == (480, 240)
    clear = Image.open(io.BytesIO(read_picture(picture("PNG", mode="RGBA")).jpeg))
    assert clear.convert("L").getextrema() == (255, 255)


def test_colours_are_brought_to_srgb_before_the_profile_goes() -> None:
    """A profile with red and blue primaries (ICC.1 tags rXYZ, bXYZ) exchanged: red numbers mean blue."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    exchanged = profile.replace(b"rXYZ", b"----").replace(b"bXYZ", b"rXYZ").replace(b"----", b"bXYZ")
    kept = read_picture(picture("JPEG", icc_profile=exchanged))
    assert 0xE2 not in segments(kept.jpeg)
    with Image.open(io.BytesIO(kept.jpeg)) as again:
        red, _green, blue = again.convert("RGB").getpixel((20, 20))  # type: ignore[misc]
    assert (red < 60, blue > 200) == (True, True)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (b"", "not a JPEG, PNG or WebP"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "not a JPEG, PNG or WebP"),
        (b"%PDF-1.7 and so on", "not a JPEG, PNG or WebP"),
        (picture("GIF"), "not a JPEG, PNG or WebP"),
        (picture("TIFF"), "not a JPEG, PNG or WebP"),
        (picture("JPEG")[:2000], "damaged or only half"),
        (picture("PNG")[:-30], "damaged or only half"),
        (picture("PNG", (40, 40)), "smaller than 64"),
        (b"x" * (25 * 1024 * 1024), "larger than 24 MB"),
    ],
    ids=["nothing", "svg", "pdf", "gif", "tiff", "half a jpeg", "half a png", "too small", "too large"],
)
def test_what_is_no_picture_is_refused_in_one_sentence(sent: bytes, words: str) -> None:
    with pytest.raises(PictureError, match=words):
        read_picture(sent)


@pytest.mark.parametrize("size", [(9000, 9000), (16000, 16000)])
def test_a_picture_that_would_unpack_to_too_much_is_refused_unread(size: tuple[int, int]) -> None:
    assert size[0] * size[1] > MOST_PIXELS
    with pytest.raises(PictureError, match="60 million pixels"):
        read_picture(picture("PNG", size, mode="1"))


def upload(client: Client, one: Person, content: bytes, **differing: str) -> str:
    """Send a photograph through the page; the page answered."""
    file = SimpleUploadedFile("beach-2031.jpg", content, content_type="image/jpeg")
    sent = {**SAID, "distance": "1,20", "agreed": "on", "file": file, **differing}
    return client.post(f"/photographs/{one.code}/take/", sent, follow=True).content.decode()


def test_from_the_form_to_the_overlay(browser: Browsers, person: People) -> None:
    one, client = person(), browser(Role.OPERATOR)
    assert "This must be ticked" in upload(client, one, picture(), agreed="")
    assert "not a JPEG, PNG or WebP picture" in upload(client, one, b"hello")
    assert "typed in centimetres" in upload(client, one, picture(), distance="120")
    assert "has no side" in upload(client, one, picture(), region="abdomen")
    assert not PhotoEntry.objects.exists()
    assert list(store.folder().glob("*")) == []
    upload(client, one, with_secrets("JPEG"))
    upload(client, one, picture(), light="daylight", distance="1.5")
    upload(client, one, picture(), view="back")
    back, later, first = album(one)
    assert first.distance_m == 1.2
    assert first_of_pose(album(one), later) == first
    assert first_of_pose(album(one), first) is None
    assert first_of_pose(album(one), back) is None
    page = client.get(f"/photographs/{one.code}/{later.number}/").content.decode()
    assert f"/photographs/{one.code}/{first.number}/picture/" in page
    assert "Not taken alike: the distance and the light differ." in page
    again = client.get(f"/photographs/{one.code}/take/?as={first.number}").content.decode()
    assert 'value="1.2"' in again
    assert "two lamps" in again


def test_a_picture_is_served_to_those_who_may_and_lies_privately(browser: Browsers, person: People) -> None:
    one, other, client = person(), person("Yara"), browser(Role.OPERATOR)
    upload(client, one, picture())
    held = album(one)[0]
    address = f"/photographs/{one.code}/{held.number}/picture/"
    answer = client.get(address)
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/jpeg")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"] == "no-store"
    assert answer.content == store.path_of(held.file).read_bytes()
    assert AuditEvent.objects.filter(action=Action.READ, object_id=str(held.number)).count() == 1
    assert len(client.get(f"{address}?small").content) < len(answer.content)
    assert client.get(f"/photographs/{other.code}/{held.number}/picture/").status_code == 404
    assert Client().get(address).status_code == 302
    assert browser(Role.TRAINER).get(address).status_code == 403
    files = list(store.folder().iterdir())
    assert {stat.S_IMODE(path.stat().st_mode) for path in files} == {0o600}
    assert stat.S_IMODE(store.folder().stat().st_mode) == 0o700
    assert set(files) <= set(_media_files(store.folder().parent.parent)), "what a backup takes"
    for name in ("../secret-key", "", "x" * 32):
        with pytest.raises(ValueError, match="no name"):
            store.path_of(name)


def test_a_picture_changed_or_removed_on_the_disk_is_found(browser: Browsers, person: People) -> None:
    one, client = person(), browser(Role.LEAD)
    upload(client, one, picture())
    held = album(one)[0]
    assert verify_chain().holds
    path = store.path_of(held.file)
    path.write_bytes(picture("JPEG", (601, 450)))
    assert any("was changed on the disk" in problem for problem in verify_chain().problems)
    assert client.get(f"/photographs/{one.code}/{held.number}/picture/").status_code == 404
    path.unlink()
    assert any("is missing from the disk" in problem for problem in verify_chain().problems)
    with pytest.raises(DatabaseError), transaction.atomic():
        PhotoContent._default_manager.update(content="{}")


def test_without_the_entry_no_picture_is_left(
    terminal: object, person: People, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise DatabaseError

    monkeypatch.setattr(PhotoEntry, "keep", fail)
    with pytest.raises(DatabaseError):
        keep_photograph(person(), read_picture(picture()), {**SAID, "distance_m": 1.0})
    assert list(store.folder().glob("*")) == []


def test_a_withdrawn_one_is_shown_to_nobody_and_left_out_of_the_export(
    browser: Browsers, person: People
) -> None:
    one, lead = person(), browser(Role.LEAD)
    upload(lead, one, picture())
    upload(lead, one, picture("PNG"))
    later, first = album(one)
    address = f"/photographs/{one.code}/{later.number}/"
    assert browser(Role.OPERATOR).get(f"{address}withdraw/").status_code == 403
    assert lead.post(f"{address}withdraw/", {"reason": "no"}).status_code == 200
    lead.post(f"{address}withdraw/", {"reason": "It shows someone else."})
    for there in (address, f"{address}picture/", f"{address}picture/?small", f"{address}withdraw/"):
        assert lead.get(there).status_code == 404
    assert "It shows someone else." in lead.get(f"/photographs/{one.code}/").content.decode()
    from evenfield.clinic.audit.actor import Actor, acting

    with acting(Actor("terminal")), zipfile.ZipFile(io.BytesIO(export_zip(one, "Invented"))) as archive:
        names = [name for name in archive.namelist() if name.startswith("photographs/")]
        record = json.loads(archive.read("photographs/record.json"))
        assert archive.read(f"photographs/{first.number}.jpg") == store.path_of(first.file).read_bytes()
    assert names == ["photographs/record.json", f"photographs/{first.number}.jpg"]
    assert [entry["kind"] for entry in record["photographs"]] == ["photograph", "photograph", "withdrawal"]


def test_pictures_go_with_the_person(
    browser: Browsers,
    person: People,
    terminal: object,
    django_capture_on_commit_callbacks: Callable[..., AbstractContextManager[object]],
) -> None:
    one, other, client = person(), person("Yara"), browser(Role.OPERATOR)
    upload(client, one, picture())
    upload(client, other, picture())
    paths: list[Path] = [store.path_of(album(one)[0].file, small=small) for small in (False, True)]
    assert all(path.exists() for path in paths)
    with django_capture_on_commit_callbacks(execute=True):
        erase(one, EraseReason.ASKED)
    assert not any(path.exists() for path in paths)
    assert store.path_of(album(other)[0].file).exists()
    assert album(one) == []
    found = verify_chain()
    assert found.holds, found.problems
