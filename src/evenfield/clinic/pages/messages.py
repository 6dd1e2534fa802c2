"""What a form says of bad input: a sentence that names what is allowed, where Django's own does not."""

from django.core import validators
from django.forms import fields, models

_CHOOSE = "“%(value)s” is not one of the choices; choose one of these."
_SENTENCES: tuple[tuple[type[fields.Field], dict[str, str]], ...] = (
    (fields.Field, {"required": "Nothing is entered here, and something must be."}),
    (fields.BooleanField, {"required": "This must be ticked to go on."}),
    (fields.FileField, {"required": "Choose a file.", "empty": "The file is empty; choose another one."}),
    (fields.DateField, {"invalid": "This is not a date; write it as 1984-02-29."}),
    (fields.TimeField, {"invalid": "This is not a time of day; write it as 16:40."}),
    (fields.DateTimeField, {"invalid": "This is not a day with a time; write it as 2031-03-05 16:40."}),
    (fields.IntegerField, {"invalid": "This is not a whole number such as 12."}),
    (fields.FloatField, {"invalid": "This is not a number such as 12.5."}),
    (fields.DecimalField, {"invalid": "This is not a number such as 12.5."}),
    (fields.ChoiceField, {"required": "Choose one of these.", "invalid_choice": _CHOOSE}),
    (fields.MultipleChoiceField, {"required": "Choose at least one of these.", "invalid_choice": _CHOOSE}),
    (models.ModelChoiceField, {"required": "Choose one of these.", "invalid_choice": _CHOOSE}),
)
_LIMITS: tuple[tuple[type[validators.BaseValidator], str], ...] = (
    (validators.MinValueValidator, "This is too small; %(limit_value)s is the least allowed."),
    (validators.MaxValueValidator, "This is too large; %(limit_value)s is the most allowed."),
    (
        validators.MinLengthValidator,
        "This is too short: %(show_value)d characters, and at least %(limit_value)d are needed.",
    ),
    (
        validators.MaxLengthValidator,
        "This is too long: %(show_value)d characters, and at most %(limit_value)d are allowed.",
    ),
)


def install() -> None:
    """Put these sentences in the place of Django's, for every form of this process."""
    for field, sentences in _SENTENCES:
        field.default_error_messages = {**field.default_error_messages, **sentences}
    for limit, sentence in _LIMITS:
        limit.message = sentence
    validators.EmailValidator.message = "This is not an e-mail address such as name@example.org."
    validators.validate_email.message = validators.EmailValidator.message
