"""Which passwords and PINs are taken, after SP 800-63B-4."""

import pytest
from django.core.exceptions import ValidationError

from evenfield.clinic.accounts.models import Account
from evenfield.clinic.accounts.passwords import check_password_choice, check_pin_choice

ODILE = Account(username="odile.brandt", name="Odile Brandt")


@pytest.mark.parametrize(
    "password",
    [
        "seven slow herons",
        "   spaces   all   round   ",
        "Ünïcödé ist erwünscht 水",
        "correct horse battery staple",
        "x" * 3 + "kq vroom 8812 !" * 12,
        "nocapitalsnodigits",
    ],
)
def test_long_enough_is_enough(password: str) -> None:
    """No rule of composition; spaces, Unicode and at least 64 characters."""
    check_password_choice(password, ODILE)


@pytest.mark.parametrize(
    ("password", "said"),
    [
        ("fourteen chars", "at least 15"),
        ("x" * 257, "at most 256"),
        ("passwordpassword", "first things"),
        ("password123456789", "first things"),
        ("qwertyuiopasdfgh", "first things"),
        ("abcdefghijklmnop", "first things"),
        ("123456789012345", "first things"),
        ("aaaaaaaaaaaaaaaaaa", "first things"),
        ("letmein letmein letmein", "first things"),
        ("OdileBrandt2031!!", "first things"),
        ("evenfield-evenfield-1", "first things"),
        ("iloveyouiloveyou", "first things"),
    ],
)
def test_short_or_usual_ones_are_refused(password: str, said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        check_password_choice(password, ODILE)


def test_eight_are_enough_only_with_a_second_factor() -> None:
    check_password_choice("kq vroom", ODILE, second_factor=True)
    with pytest.raises(ValidationError, match="at least 15"):
        check_password_choice("kq vroom", ODILE, second_factor=False)
    with pytest.raises(ValidationError, match="at least 8"):
        check_password_choice("kq vroo", ODILE, second_factor=True)
    with pytest.raises(ValidationError, match="first things"):
        check_password_choice("football", ODILE, second_factor=True)


@pytest.mark.parametrize(
    "pin", ["12345", "123456", "654321", "111111", "121212", "123123", "12345a", "1" * 13, "٤٨٠٧٣٥"]
)
def test_weak_pins_are_refused(pin: str) -> None:
    with pytest.raises(ValidationError):
        check_pin_choice(pin)


@pytest.mark.parametrize("pin", ["480735", "582047", "190284756301"])
def test_other_pins_are_taken(pin: str) -> None:
    check_pin_choice(pin)


def test_the_hash_in_use_costs_at_least_what_asvs_asks() -> None:
    """ASVS 5.0 appendix C: argon2id with t >= 2, m >= 19 MiB, p >= 1."""
    from django.contrib.auth.hashers import Argon2PasswordHasher

    from evenfield.clinic import settings

    assert settings.PASSWORD_HASHERS == ["django.contrib.auth.hashers.Argon2PasswordHasher"]
    hasher = Argon2PasswordHasher()
    assert hasher.encode("x" * 15, "saltsalt").startswith("argon2$argon2id$")
    assert hasher.time_cost >= 2
    assert hasher.memory_cost >= 19 * 1024
    assert hasher.parallelism >= 1
