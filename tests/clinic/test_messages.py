"""Bad input is answered by what is allowed, on every form, also those not written yet."""

from collections.abc import Callable
from typing import Any

import pytest
from django import forms
from django.test import Client

from evenfield.clinic.access import Role

KINDS: list[tuple[forms.Field, Any, str]] = [
    (forms.CharField(), "", "Nothing is entered here, and something must be."),
    (forms.CharField(max_length=3), "four", "This is too long: 4 characters, and at most 3 are allowed."),
    (forms.CharField(min_length=3), "ab", "This is too short: 2 characters, and at least 3 are needed."),
    (forms.BooleanField(), "", "This must be ticked to go on."),
    (forms.DateField(), "31 February", "This is not a date; write it as 1984-02-29."),
    (forms.TimeField(), "25:00", "This is not a time of day; write it as 16:40."),
    (forms.DateTimeField(), "x", "This is not a day with a time; write it as 2031-03-05 16:40."),
    (forms.IntegerField(), "x", "This is not a whole number such as 12."),
    (forms.FloatField(), "x", "This is not a number such as 12.5."),
    (forms.FloatField(min_value=2), "1", "This is too small; 2 is the least allowed."),
    (forms.FloatField(max_value=2), "3", "This is too large; 2 is the most allowed."),
    (forms.EmailField(), "nobody", "This is not an e-mail address such as name@example.org."),
    (forms.ChoiceField(choices=[("a", "A")]), "", "Choose one of these."),
    (forms.ChoiceField(choices=[("a", "A")]), "b", "“b” is not one of the choices; choose one of these."),
    (forms.MultipleChoiceField(choices=[("a", "A")]), [], "Choose at least one of these."),
    (forms.FileField(), None, "Choose a file."),
]


@pytest.mark.parametrize(("kind", "typed", "sentence"), KINDS)
def test_what_is_wrong_says_what_is_allowed(kind: forms.Field, typed: Any, sentence: str) -> None:
    with pytest.raises(forms.ValidationError) as refused:
        type(kind).clean(kind, typed)
    assert refused.value.messages == [sentence]


def test_the_dates_and_times_named_as_allowed_are() -> None:
    assert forms.DateField().clean("1984-02-29")
    assert forms.TimeField().clean("16:40")
    assert forms.DateTimeField().clean("2031-03-05 16:40")


def test_a_user_name_that_cannot_be_says_which_can(browser: Callable[..., Client]) -> None:
    page = browser(Role.OWNER).post("/staff/add/", {"name": "Bo", "username": "b o", "roles": ["operator"]})
    assert "This cannot be a user name. Two to sixty of a to z, digits" in page.content.decode()
