"""The start page: what is still to be set up, what a role is for, where the reminders lead."""

import re
from collections.abc import Callable

from django.test import Client

from evenfield.clinic.access import Role
from evenfield.clinic.accounts.models import Account
from evenfield.clinic.audit.actor import Actor
from evenfield.clinic.courses.models import BookingRules
from evenfield.clinic.devices.models import Device, TreatmentRoom
from evenfield.clinic.screening.models import ConsentText


def to_set_up(client: Client) -> dict[str, str]:
    """The headings under "Still to be set up", and what they say."""
    _, _, listed = client.get("/").content.decode().partition("<h2>Still to be set up</h2>")
    return dict(re.findall(r"<strong>(.*?)</strong><span>(.*?)</span>", listed))


def test_the_owner_of_a_new_clinic_is_told_what_is_still_to_be_set_up(
    browser: Callable[..., Client], account: Callable[..., Account], terminal: Actor
) -> None:
    owner = browser(Role.OWNER, Role.OPERATOR)
    found = to_set_up(owner)
    assert list(found) == ["Staff", "Consent text", "Devices", "Rooms", "Opening hours"]
    assert "without one no refusal of a visit can be lifted" in found["Staff"]
    account(Role.LEAD)
    Device(name="Warmer").save()
    TreatmentRoom(name="Blue room").save()
    ConsentText.append(actor="owner", text="Our own text, checked by our own lawyer.")
    BookingRules().save()
    assert to_set_up(owner) == {"Devices": "1 of 1 in use without the limits of the manual"}
    device = Device.objects.get()
    device.power_most_w, device.manual = 120, "Manual, edition 2, page 9"
    device.save()
    assert to_set_up(owner) == {}


def test_who_cannot_set_it_up_is_not_told(browser: Callable[..., Client]) -> None:
    assert to_set_up(browser(Role.OPERATOR)) == {}
    assert list(to_set_up(browser(Role.LEAD))) == ["Consent text", "Opening hours"]


def test_the_reminder_of_the_backup_leads_to_how_one_is_made(browser: Callable[..., Client]) -> None:
    owner = browser(Role.OWNER)
    address = re.search(r'<a href="([^"]+)"><strong>Backup</strong>', owner.get("/").content.decode())
    assert address
    page = owner.get(address[1]).content.decode()
    assert "evenfield backup --to PLACE" in page
    assert "Keep a copy of it away from this computer" in page


def test_a_trainer_is_told_what_the_role_is_for(browser: Callable[..., Client]) -> None:
    page = browser(Role.TRAINER).get("/").content.decode()
    assert "What a trainer does here" in page
    assert 'href="/devices/"' in page
    assert "What a trainer does here" not in browser(Role.OPERATOR).get("/").content.decode()
