"""Signing in: slowed down but never locked out, one-time codes that work once, codes from the terminal."""

import re
import time
from collections.abc import Callable
from datetime import timedelta

import pyotp
import pytest
from django.http import HttpRequest
from django.test import Client, RequestFactory
from django.utils import timezone

from evenfield.clinic.access import Role
from evenfield.clinic.accounts import codes, throttle, totp
from evenfield.clinic.accounts.models import Account, DeviceSession, FailedTries, OneTimeCode
from evenfield.clinic.accounts.recovery import recover
from evenfield.clinic.api.tokens import make_token
from evenfield.clinic.audit.actor import Actor, acting
from evenfield.clinic.audit.models import Action, AuditEvent
from evenfield.clinic.courses.calendar_address import make_address
from evenfield.clinic.courses.models import CalendarAddress
from tests.clinic.conftest import PASSWORD, signed_in


def try_in(client: Client, username: str, password: str, code: str = "", address: str = "127.0.0.1") -> str:
    """ "in", or the sentence that says why not."""
    answer = client.post(
        "/sign-in/", {"username": username, "password": password, "code": code}, REMOTE_ADDR=address
    )
    if answer.status_code == 302:
        return "in"
    found = re.search(r'class="problems".*?<li>(.*?)</li>', answer.content.decode(), re.DOTALL)
    assert found
    return found.group(1)


def test_the_right_password_opens_and_a_wrong_one_does_not(account: Callable[..., Account]) -> None:
    account(Role.OPERATOR, username="oriel")
    client = Client()
    assert "did not match" in try_in(client, "oriel", PASSWORD + "x")
    assert try_in(client, " Oriel ", PASSWORD) == "in"
    assert client.get("/").status_code == 200


def test_the_answer_does_not_tell_whether_the_name_exists(account: Callable[..., Account]) -> None:
    account(Role.OPERATOR, username="oriel")
    assert try_in(Client(), "oriel", "wrong") == try_in(Client(), "nobody-here", "wrong")


def test_the_session_gets_a_new_token_at_sign_in(account: Callable[..., Account]) -> None:
    """ASVS 7.2.4."""
    account(Role.OPERATOR, username="oriel")
    client = Client()
    session = client.session
    session["planted"] = True
    session.save()
    planted = session.session_key
    client.cookies["evenfield_session"] = planted or ""
    assert try_in(client, "oriel", PASSWORD) == "in"
    assert client.cookies["evenfield_session"].value != planted


def test_a_deactivated_account_is_out_at_once(account: Callable[..., Account], terminal: Actor) -> None:
    """ASVS 7.4.2."""
    oriel = account(Role.OPERATOR, username="oriel")
    client = signed_in(oriel)
    assert client.get("/").status_code == 200
    oriel.is_active = False
    oriel.save()
    assert client.get("/").status_code == 302
    assert "did not match" in try_in(Client(), "oriel", PASSWORD)


def test_waits_double_and_end_at_a_quarter_of_an_hour() -> None:
    waits = [throttle.wait_after(failures).total_seconds() for failures in range(100)]
    assert waits[:8] == [0, 0, 0, 0, 1, 2, 4, 8]
    assert max(waits) == waits[-1] == 900
    assert waits == sorted(waits)


def test_guessing_is_slowed_down_and_not_even_the_right_password_is_looked_at(
    account: Callable[..., Account],
) -> None:
    account(Role.OPERATOR, username="oriel")
    for _ in range(7):
        FailedTries.objects.update(last=timezone.now() - timedelta(hours=1))
        assert "did not match" in try_in(Client(), "oriel", "wrong")
    assert re.search(r"Try again in (1 second|\d+ seconds)\.", try_in(Client(), "oriel", PASSWORD))
    assert re.search(r"Try again in (1 second|\d+ seconds)\.", try_in(Client(), "oriel", PASSWORD))
    FailedTries.objects.update(last=timezone.now() - timedelta(seconds=9))
    assert try_in(Client(), "oriel", PASSWORD) == "in"
    assert not FailedTries.objects.exists()


def test_someone_elsewhere_guessing_does_not_slow_down_the_practitioner(
    account: Callable[..., Account],
) -> None:
    account(Role.OWNER, username="ondine")
    for _ in range(8):
        FailedTries.objects.update(last=timezone.now() - timedelta(hours=1))
        try_in(Client(), "ondine", "wrong", address="192.0.2.66")
    assert try_in(Client(), "ondine", PASSWORD, address="192.0.2.7") == "in"


def test_after_a_hundred_failures_strangers_are_out_but_a_known_browser_is_not(
    account: Callable[..., Account], terminal: Actor
) -> None:
    """SP 800-63B-4: at most 100 consecutive failures; and the only practitioner must get in."""
    account(Role.OWNER, username="ondine")
    tablet = Client()
    assert try_in(tablet, "ondine", PASSWORD) == "in"
    tablet.post("/sign-out/")
    for number in range(throttle.LIMIT):
        throttle.note_failure("ondine", f"address 192.0.2.{number}", timezone.now() - timedelta(hours=1))
    assert "known" not in throttle.source_of(_request(Client()), "ondine")
    assert "evenfield recover" in try_in(Client(), "ondine", PASSWORD, address="198.51.100.1")
    assert try_in(tablet, "ondine", PASSWORD, address="198.51.100.1") == "in"

    for number in range(throttle.LIMIT):
        throttle.note_failure("ondine", f"address 192.0.2.{number}", timezone.now() - timedelta(hours=1))
    assert "evenfield recover" in try_in(Client(), "ondine", PASSWORD)
    recover("ondine")
    assert try_in(Client(), "ondine", PASSWORD) == "in"


def _request(client: Client) -> HttpRequest:
    request = RequestFactory().get("/")
    request.COOKIES.update({name: morsel.value for name, morsel in client.cookies.items()})
    return request


def test_a_known_browser_runs_out_too(account: Callable[..., Account]) -> None:
    account(Role.OWNER, username="ondine")
    tablet = Client()
    try_in(tablet, "ondine", PASSWORD)
    tablet.post("/sign-out/")
    source = throttle.source_of(_request(tablet), "ondine")
    assert source.startswith("known ")
    for _ in range(throttle.LIMIT):
        throttle.note_failure("ondine", source, timezone.now() - timedelta(hours=1))
    assert "Too many failed tries" in try_in(tablet, "ondine", PASSWORD)


def test_a_planted_token_makes_nothing_known(account: Callable[..., Account]) -> None:
    account(Role.OWNER, username="ondine")
    tablet = Client()
    tablet.cookies[throttle.COOKIE] = "planted"
    try_in(tablet, "ondine", PASSWORD)
    stranger = Client()
    stranger.cookies[throttle.COOKIE] = "planted"
    assert throttle.source_of(_request(stranger), "ondine").startswith("address")


def test_names_tried_are_not_kept_in_the_clear(db: None) -> None:
    """People type their password into the wrong field."""
    try_in(Client(), "my secret password", "x")
    assert "secret" not in str(list(FailedTries.objects.values()))
    assert "secret" not in str(list(AuditEvent.objects.values()))


def test_sign_ins_and_failures_are_in_the_trail(account: Callable[..., Account]) -> None:
    """ASVS 16.3.1."""
    account(Role.OPERATOR, username="oriel")
    client = Client()
    try_in(client, "oriel", "wrong", address="192.0.2.4")
    try_in(client, "oriel", PASSWORD)
    client.post("/sign-out/")
    events = (
        AuditEvent.objects.exclude(action="create")
        .order_by("number")
        .values_list("action", "actor", "address")
    )
    assert list(events) == [
        ("sign-in-failed", "oriel", "192.0.2.4"),
        ("sign-in", "oriel", "127.0.0.1"),
        ("sign-out", "oriel", "127.0.0.1"),
    ]


def test_one_time_codes_agree_with_the_standard(account: Callable[..., Account]) -> None:
    """RFC 6238 appendix B, SHA-1, secret "12345678901234567890": the last six of the eight digits printed."""
    secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
    ours = account(Role.OPERATOR)
    for seconds, printed in ((59, "94287082"), (1111111109, "07081804"), (20000000000, "65353130")):
        assert totp.accept(ours, secret, printed[-6:], now=seconds)


def test_a_one_time_code_works_once_and_so_do_none_older(account: Callable[..., Account]) -> None:
    ours, secret, now = account(Role.OPERATOR), totp.new_secret(), 1_900_000_000.0
    at = pyotp.TOTP(secret).at
    assert totp.accept(ours, secret, at(int(now)), now)
    assert not totp.accept(ours, secret, at(int(now)), now)
    assert not totp.accept(ours, secret, at(int(now) - 30), now)
    assert totp.accept(ours, secret, at(int(now) + 30), now)
    assert not totp.accept(ours, secret, at(int(now) + 90), now)


def test_with_one_time_codes_the_password_alone_is_not_enough(account: Callable[..., Account]) -> None:
    secret = totp.new_secret()
    ours = account(Role.OPERATOR, username="oriel", totp_secret=secret)
    code = pyotp.TOTP(secret).at(int(time.time()))
    assert "did not match" in try_in(Client(), "oriel", PASSWORD)
    assert "did not match" in try_in(Client(), "oriel", "wrong", code)
    assert try_in(Client(), "oriel", PASSWORD, code) == "in"
    assert "did not match" in try_in(Client(), "oriel", PASSWORD, code)
    spare = codes.new_recovery_codes(ours)
    assert try_in(Client(), "oriel", PASSWORD, spare[3].lower()) == "in"
    assert "did not match" in try_in(Client(), "oriel", PASSWORD, spare[3])


def test_one_time_codes_are_set_up_with_the_password_and_a_working_device(
    account: Callable[..., Account],
) -> None:
    ours = account(Role.OPERATOR)
    client = signed_in(ours)
    page = client.get("/account/codes/").content.decode()
    secret = client.session["offered secret"]
    assert secret in page
    assert "<svg" in page
    code = pyotp.TOTP(secret).at(int(time.time()))
    client.post("/account/codes/", {"present_password": "wrong", "code": code})
    ours.refresh_from_db()
    assert not ours.second_factor
    done = client.post("/account/codes/", {"present_password": PASSWORD, "code": code}).content.decode()
    ours.refresh_from_db()
    assert ours.totp_secret == secret
    assert len(re.findall(r'<li class="code">', done)) == 8
    assert client.post("/account/codes/stop/", {"present_password": PASSWORD}).status_code == 302
    ours.refresh_from_db()
    assert not ours.second_factor


def test_a_code_from_the_terminal_sets_a_password_once(
    account: Callable[..., Account], terminal: Actor
) -> None:
    ours = account(Role.OWNER, username="ondine")
    elsewhere = signed_in(ours)
    code = recover("ondine")
    sent = {
        "username": "ondine",
        "code": code,
        "new_password": "eleven grey ferries",
        "again": "eleven grey ferries",
    }
    assert Client().post("/set-password/", {**sent, "code": "AAAA-AAAA-AAAA-AAAA"}).status_code == 200
    assert Client().post("/set-password/", sent).status_code == 302
    assert Client().post("/set-password/", sent).status_code == 200
    assert try_in(Client(), "ondine", "eleven grey ferries") == "in"
    assert elsewhere.get("/").status_code == 302


def test_a_code_runs_out_after_a_day(account: Callable[..., Account], terminal: Actor) -> None:
    ours = account(Role.OWNER)
    code = codes.issue(ours)
    assert codes.matches(ours, code)
    OneTimeCode.objects.update(expires=timezone.now() - timedelta(seconds=1))
    assert not codes.matches(ours, code)


def test_recovery_does_not_go_around_the_second_factor_unless_asked_to(
    account: Callable[..., Account], terminal: Actor
) -> None:
    """ASVS 6.4.3."""
    ours = account(Role.OWNER, username="ondine", totp_secret=totp.new_secret())
    recover("ondine")
    ours.refresh_from_db()
    assert ours.second_factor
    recover("ondine", drop_second_factor=True)
    ours.refresh_from_db()
    assert not ours.second_factor


def test_devices_are_listed_and_can_be_ended(account: Callable[..., Account]) -> None:
    ours = account(Role.OPERATOR)
    here, there = signed_in(ours), signed_in(ours)
    assert here.get("/account/").content.decode().count("Sign it out") == 2
    other = DeviceSession.objects.order_by("-pk")[0]
    assert here.post(f"/account/devices/{other.pk}/end/").status_code == 302
    assert there.get("/").status_code == 302
    assert here.get("/").status_code == 200
    assert AuditEvent.objects.filter(action=Action.SIGN_OUT, object_id=str(other.pk)).exists()


def test_nobody_ends_someone_elses_device(account: Callable[..., Account]) -> None:
    mine, theirs = signed_in(account(Role.OWNER)), signed_in(account(Role.OPERATOR))
    other = DeviceSession.objects.order_by("-pk")[0]
    assert mine.post(f"/account/devices/{other.pk}/end/").status_code == 404
    assert theirs.get("/").status_code == 200


def test_a_session_ends_after_twelve_hours_however_busy(account: Callable[..., Account]) -> None:
    client = signed_in(account(Role.OPERATOR))
    DeviceSession.objects.update(started=timezone.now() - timedelta(hours=12, seconds=1))
    assert client.get("/").status_code == 302


def test_a_new_password_signs_the_other_devices_out(account: Callable[..., Account]) -> None:
    ours = account(Role.OPERATOR)
    here, there = signed_in(ours), signed_in(ours)
    sent = {
        "present_password": PASSWORD,
        "new_password": "eleven grey ferries",
        "again": "eleven grey ferries",
    }
    assert here.post("/account/password/", {**sent, "present_password": "wrong"}).status_code == 200
    assert here.post("/account/password/", sent).status_code == 302
    assert here.get("/").status_code == 200
    assert there.get("/").status_code == 302


def doors_of(ours: Account) -> str:
    """A token and a private calendar address of this account; the secret of the token."""
    with acting(ours.actor("127.0.0.1")):
        make_address(ours, whole_clinic=False)
        return make_token(ours, "wall screen", ["people.view"], 30)


def works(secret: str) -> bool:
    """Whether the API answers this token."""
    answer = Client().get("/api/visits", headers={"Authorization": f"Bearer {secret}"})
    return answer.status_code != 401


@pytest.mark.parametrize("kept", [False, True])
def test_a_new_password_ends_tokens_and_the_calendar_address_unless_they_are_kept(
    account: Callable[..., Account], kept: bool
) -> None:
    ours = account(Role.OPERATOR)
    secret, client = doors_of(ours), signed_in(ours)
    page = client.get("/account/password/").content.decode()
    assert "the private calendar address; the token “wall screen”" in page
    sent = {
        "present_password": PASSWORD,
        "new_password": "eleven grey ferries",
        "again": "eleven grey ferries",
    } | ({"keep_doors": "on"} if kept else {})
    told = client.post("/account/password/", sent, follow=True).content.decode()
    assert ("Ended: the private calendar address; the token “wall screen”." in told) is not kept
    assert works(secret) is kept
    assert CalendarAddress.objects.exists() is kept
    assert ("Let these go on working" in client.get("/account/password/").content.decode()) is kept


def test_recovery_ends_tokens_and_the_calendar_address(
    account: Callable[..., Account], terminal: Actor
) -> None:
    """Whoever knew the old password may have made them."""
    ours, other = account(Role.OWNER, username="ondine"), account(Role.LEAD)
    secret, theirs = doors_of(ours), doors_of(other)
    assert works(secret)
    code = recover("ondine")
    assert not works(secret)
    assert [one.account for one in CalendarAddress.objects.all()] == [other]
    assert works(theirs)
    secret = doors_of(ours)  # made meanwhile by whoever is signed in as her
    sent = {
        "username": "ondine",
        "code": code,
        "new_password": "eleven grey ferries",
        "again": "eleven grey ferries",
    }
    assert Client().post("/set-password/", sent).status_code == 302
    assert not works(secret)
    assert [one.account for one in CalendarAddress.objects.all()] == [other]


def test_the_owner_adds_staff_who_set_their_own_password(account: Callable[..., Account]) -> None:
    client = signed_in(account(Role.OWNER))
    asked = {"name": "Oriel Tamsin", "username": "Oriel", "roles": ["operator"], "present_password": PASSWORD}
    page = client.post("/staff/add/", asked)
    code = re.search(r'bigcode">([A-Z0-9-]+)<', page.content.decode())
    assert code
    sent = {
        "username": "oriel",
        "code": code[1],
        "new_password": "eleven grey ferries",
        "again": "eleven grey ferries",
    }
    assert Client().post("/set-password/", sent).status_code == 302
    assert try_in(Client(), "oriel", "eleven grey ferries") == "in"


@pytest.mark.parametrize("given", [{}, {"present_password": "not the password of anyone"}])
def test_an_open_screen_of_the_owner_changes_no_account(
    account: Callable[..., Account], given: dict[str, str]
) -> None:
    """Whoever changes authentication or rights of an account shows first who they are (OWASP ASVS 7.5.1)."""
    client, lead = signed_in(account(Role.OWNER)), account(Role.LEAD, username="lead")
    roles = {"name": lead.name, "roles": [Role.LEAD.value, Role.OWNER.value], "is_active": "on"}
    added = {"name": "Oriel Tamsin", "username": "oriel", "roles": ["owner"]}
    for address, sent in (
        (f"/staff/{lead.pk}/", roles),
        ("/staff/add/", added),
        (f"/staff/{lead.pk}/code/", {}),
    ):
        page = client.post(address, {**sent, **given}).content.decode()
        assert "password" in page
        assert "bigcode" not in page
    assert OneTimeCode.objects.count() == 0
    assert list(Account.objects.order_by("pk").values_list("roles_text", flat=True)) == [
        Role.OWNER,
        Role.LEAD,
    ]
    right = {"present_password": PASSWORD}
    assert client.post(f"/staff/{lead.pk}/", {**roles, **right}).status_code == 302
    lead.refresh_from_db()
    assert lead.roles == {Role.LEAD, Role.OWNER}
    assert "bigcode" in client.post(f"/staff/{lead.pk}/code/", right).content.decode()


def test_the_last_owner_cannot_be_taken_away(account: Callable[..., Account]) -> None:
    owner = account(Role.OWNER)
    client = signed_in(owner)
    gone = {"name": owner.name, "roles": ["operator"], "is_active": "on", "present_password": PASSWORD}
    assert "only owner" in client.post(f"/staff/{owner.pk}/", gone).content.decode()
    account(Role.OWNER, username="second")
    assert client.post(f"/staff/{owner.pk}/", gone).status_code == 302


@pytest.mark.parametrize(
    "there",
    [
        "https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)", "/\\elsewhere.example/",
        "hello", "-1", "²", "people", "./people/", "../",
    ],
)  # fmt: skip
def test_sign_in_leads_nowhere_else(account: Callable[..., Account], there: str) -> None:
    account(Role.OPERATOR, username="oriel")
    assert Client().get("/sign-in/", {"next": there}).status_code == 200
    answer = Client().post("/sign-in/", {"username": "oriel", "password": PASSWORD, "next": there})
    assert answer["Location"] == "/"
