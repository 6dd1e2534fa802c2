"""The page on which a clinic keeps its own numbers and rules: as text, and number by number."""

import re
import tomllib
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from evenfield.clinic.access import Role
from evenfield.clinic.audit.models import AuditEvent
from evenfield.clinic.audit.trail import verify_chain
from evenfield.clinic.courses.models import Visit
from evenfield.clinic.own_files import own_profile_file
from evenfield.clinic.visits.own_numbers import with_numbers
from evenfield.clinic.visits.running import begin, running


def test_the_clinic_keeps_its_own_numbers_on_a_page(visit: Visit, browser: Callable[..., Client]) -> None:
    client, there = browser(Role.LEAD), "/visits/practice/"
    assert "numbers.skin_limit_c" in client.get(there).content.decode()
    own = 'extends = "default"\r\nname = "invented"\r\nversion = "7"\r\n'
    own += '[numbers.skin_limit_c]\r\nvalue = 38\r\nsource = "invented"\r\n'
    try:
        for wrong, words in ((own.replace("38", "99"), "allowed 30 to 43"), ("x = [", "not TOML")):
            assert words in client.post(there, {"text": wrong}).content.decode()
            assert not own_profile_file().exists()
        assert client.post(there, {"text": own}).status_code == 302
        page = client.get(there).content.decode()
        assert "In force: invented, version 7" in page
        assert re.search(r'value="38"[^°]*°C</span> <span[^>]*>ours', page)
        begun = begin(visit)
        assert client.post(there, {"text": " "}).status_code == 302
        assert not own_profile_file().exists()
        assert running(begun).profile.numbers.skin_limit_c.value == 38  # a running visit keeps its own
        own_profile_file().write_text("broken = ")
        assert "No visit can begin" in client.get(there).content.decode()
    finally:
        own_profile_file().unlink(missing_ok=True)
    changes = AuditEvent.objects.filter(kind="visits.practiceprofile")
    assert changes.count() == 2
    assert verify_chain().holds


def test_numbers_are_changed_one_by_one_without_writing_text(browser: Callable[..., Client]) -> None:
    """Only what its user changed counts, with who set it; the rest of the clinic's text stays as it was."""
    client, there = browser(Role.LEAD), "/visits/practice/"
    own = 'extends = "default"\nname = "invented"\nversion = "7"\n# ours\n[rule.comfort_low]\nsource = "us"\n'

    def given(page: str) -> dict[str, str]:
        """The page's own fields, as a browser would send them back."""
        return dict(re.findall(r'name="([^"]+)" value="([^"]*)"', page))

    def now() -> dict[str, Any]:
        return tomllib.loads(own_profile_file().read_text())

    try:
        client.post(there, {"text": own})
        shown = given(client.get(there).content.decode())
        skin, thigh = "numbers.skin_limit_c", "starting_power_w.thigh"
        assert shown[skin] == shown[f"initial-{skin}"]
        for wrong, words in (
            ({skin: "99", "who": "us"}, "Allowed is 30 to 43 °C."),
            ({skin: "warm", "who": "us"}, "This is no number."),
            ({skin: "38"}, "Say who set it"),
            ({"numbers.comfort_low": "9", "who": "us"}, "the first must be the smaller"),
        ):
            page = client.post(there, shown | wrong).content.decode()
            assert words in page
            assert "Nothing was kept" in page
            assert own_profile_file().read_text() == own
        assert client.post(there, shown | {skin: "38,5", "who": "Manual, page 12"}).status_code == 302
        assert now()["numbers"] == {"skin_limit_c": {"value": 38.5, "source": "Manual, page 12"}}
        assert "# ours" in own_profile_file().read_text()
        # another tablet, with the page as it was before: it changes another number and takes nothing back
        assert client.post(there, shown | {thigh: "60", "who": "The lead"}).status_code == 302
        assert now()["numbers"]["skin_limit_c"]["value"] == 38.5
        assert now()["starting_power_w"] == {"thigh": {"value": 60, "source": "The lead"}}
        assert now()["rule"] == {"comfort_low": {"source": "us"}}
        before = own_profile_file().read_text()
        shown = given(client.get(there).content.decode())
        assert client.post(there, shown | {"who": "us"}).status_code == 302
        assert own_profile_file().read_text() == before  # nothing changed: not even the version
        back = {skin: "39", thigh: "80", "who": "us"}
        assert client.post(there, shown | back).status_code == 302
        assert set(now()) == {"extends", "name", "version", "rule"}
        client.post(there, {"text": ""})
        shown = given(client.get(there).content.decode())
        assert client.post(there, shown | {skin: "38", "who": "us"}).status_code == 302
        shown = given(client.get(there).content.decode())
        assert client.post(there, shown | {skin: "39", "who": "us"}).status_code == 302
        assert not own_profile_file().exists()  # nothing of its own is left: the shipped one is in force
    finally:
        own_profile_file().unlink(missing_ok=True)


@pytest.mark.parametrize(
    "numbers",
    [
        "[numbers.skin_limit_c]\nvalue = 38\nsource = 'k'\n[rule.comfort_low]\nsource = 'k'\n"
        "[numbers.skin_margin_c]\nvalue = 1\nsource = 'k'\n[rule.comfort_ask]\nsource = 'k'\n",
        "[numbers]\nskin_limit_c = {value = 38, source = 'k'}\n",
        "numbers.skin_limit_c.value = 38\nnumbers.skin_limit_c.source = 'k'\n",
    ],
)
def test_a_number_finds_its_place_however_the_text_is_written(numbers: str) -> None:
    """Against the standard library's reader of TOML 1.0."""
    text = f'extends = "default"\nname = "x"\nversion = "1"\n{numbers}'
    for changed in (
        {"numbers.gap_mm": 12.5},
        {"numbers.skin_limit_c": 37.0},
        {"starting_power_w.thigh": 60.0},
    ):
        written = tomllib.loads(with_numbers(text, changed, "who", "2", "y"))
        [(table, number)] = [key.split(".") for key in changed]
        assert written[table].pop(number) == {"value": changed[f"{table}.{number}"], "source": "who"}
        before = tomllib.loads(text) | {"name": "y", "version": "2"}
        before.setdefault(table, {}).pop(number, None)
        assert written == before
    gone = with_numbers(text, {"numbers.skin_limit_c": 39.0}, "who", "2", "y")
    assert ("skin_limit_c" in gone, "rule" in gone) == (False, "rule" in text)
    assert bool(gone) == ("rule" in text)
