"""The practice profile: the clinic's own numbers and rules as data, each with its source and label.

The shipped profile is `data/default_profile.toml`. A clinic writes its own TOML with ``extends = "default"``
and only what differs; whatever it changes says who set it (``source``). Units stand in the names.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from enum import StrEnum
from functools import cache, cached_property
from string import Formatter
from typing import Any, Literal, Self

from pydantic import Field, ValidationError, model_validator

from evenfield.conduct.data_file import DataEntry, first_fault, shipped_text
from evenfield.conduct.events import RegionKind

PRACTICE = "common practice, no source"
Label = Literal["P", "M", "C", "A", "common practice, no source", "clinic"]
LABEL_MEANING: dict[str, str] = {
    "P": "confirmed in print",
    "M": "from memory, to be looked up before relying on it",
    "C": "computed",
    "A": "an assumption of ours; the clinic sets its own",
    PRACTICE: "a fact of the trade for which no source is known",
    "clinic": "set by the clinic",
}


class ProfileError(ValueError):
    """A practice profile that cannot be used; one sentence: what, where, what is allowed."""


class Urgency(StrEnum):
    """How soon, in words of our own. Advice, not the priority of an alarm."""

    NOW = "now"
    SOON = "soon"
    WHEN_YOU_CAN = "when you can"


class Number(DataEntry):
    """One editable number with the range a clinic may choose from."""

    value: float
    unit: str
    allowed: tuple[float, float]
    meaning: str = Field(min_length=1)
    source: str = Field(min_length=1)
    label: Label

    @model_validator(mode="after")
    def _within(self) -> Self:
        low, high = self.allowed
        if not low <= self.value <= high:
            raise ValueError(f"value is {self.value:g}: allowed {low:g} to {high:g} {self.unit}")
        return self


class Numbers(DataEntry):
    """Every number the rules use."""

    gap_mm: Number
    gap_least_mm: Number
    raise_step_w: Number
    raise_interval_s: Number
    power_most_w: Number
    increase_earliest_minutes: Number
    increase_consider_minutes: Number
    tuning_least_percent: Number
    tuning_wait_s: Number
    tuning_tries: Number
    hot_spot_check_s: Number
    hot_spot_give_up_s: Number
    hot_spot_wait_minutes: Number
    after_check_s: Number
    comfort_interval_minutes: Number
    comfort_low: Number
    comfort_enough: Number
    reading_interval_minutes: Number
    skin_limit_c: Number
    skin_margin_c: Number
    fat_band_low_c: Number
    fat_band_high_c: Number
    estimate_stale_s: Number
    estimate_repeat_minutes: Number
    pause_most_minutes: Number
    redness_keep_off: Number
    session_minutes: Number
    session_most_minutes: Number
    not_now_s: Number
    not_now_urgent_s: Number

    @model_validator(mode="after")
    def _agree(self) -> Self:
        for lower, higher in (
            ("gap_least_mm", "gap_mm"),
            ("increase_earliest_minutes", "increase_consider_minutes"),
            ("hot_spot_check_s", "hot_spot_give_up_s"),
            ("session_minutes", "session_most_minutes"),
            ("fat_band_low_c", "fat_band_high_c"),
            ("comfort_low", "comfort_enough"),
        ):
            low, high = getattr(self, lower).value, getattr(self, higher).value
            if low > high or (low == high and lower in ("fat_band_low_c", "comfort_low")):
                raise ValueError(f"{lower} is {low:g}, {higher} is {high:g}: the first must be the smaller")
        return self


class RuleText(DataEntry):
    """A rule as data: how urgent, where it ranks, its words and where they come from.

    ``what`` and ``why`` may name in braces any number of the profile and the rule's own ``fields``.
    """

    enabled: bool = True
    off_because: str = ""
    urgency: Urgency
    rank: int = Field(ge=1, le=9999)
    what: str = Field(min_length=1, max_length=160)
    why: str = Field(min_length=1)
    source: str = Field(min_length=1)
    label: Label
    fields: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _words(self) -> Self:
        known = set(self.fields) | set(Numbers.model_fields)
        for part in ("what", "why"):
            try:
                pieces = list(Formatter().parse(getattr(self, part)))
            except ValueError as error:
                raise ValueError(f"{part} cannot be read: {error}") from None
            for _, name, spec, conversion in pieces:
                if name is not None and (name not in known or spec or conversion):
                    raise ValueError(
                        f"{part} names {{{name}}}: allowed are the names of numbers and {list(self.fields)}"
                    )
        return self

    @model_validator(mode="after")
    def _reasoned(self) -> Self:
        if not self.enabled and not self.off_because.strip():
            raise ValueError("enabled is false: say why in off_because")
        return self


class PracticeProfile(DataEntry):
    """The whole profile. ``overruled_by`` says what stands above it."""

    name: str = Field(min_length=1)
    version: str = Field(min_length=1)
    overruled_by: str = Field(min_length=1)
    numbers: Numbers
    starting_power_w: dict[RegionKind, Number]
    rule: dict[str, RuleText]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        ranks: dict[int, str] = {}
        for rule_id, text in self.rule.items():
            if text.rank in ranks:
                raise ValueError(
                    f"rule.{rule_id}.rank is {text.rank}, as is that of {ranks[text.rank]}: ranks must differ"
                )
            ranks[text.rank] = rule_id
        return self

    @cached_property
    def number_words(self) -> dict[str, str]:
        """Every number by name, as written in a rule's words."""
        return {name: f"{getattr(self.numbers, name).value:g}" for name in Numbers.model_fields}

    def starting_power(self, region: RegionKind | None) -> float:
        """Starting level for a region, W; the lowest of all where the region is not known."""
        if region is not None:
            return self.starting_power_w[region].value
        return min(number.value for number in self.starting_power_w.values())


# What a clinic's own file may change; units, meanings and allowed ranges are ours.
_NUMBER_KEYS = frozenset({"value", "source", "label"})
_RULE_KEYS = frozenset({"enabled", "off_because", "urgency", "rank", "what", "why", "source", "label"})
_HEAD_KEYS = frozenset({"extends", "name", "version", "numbers", "starting_power_w", "rule"})


@cache
def _default_data() -> dict[str, Any]:
    return tomllib.loads(shipped_text("default_profile.toml"))


def read_profile(text: str, where: str) -> PracticeProfile:
    """The profile a clinic's TOML text describes, on top of the default one.

    ``where`` names the text in messages. Raises `ProfileError`.
    """
    try:
        own = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProfileError(f"practice profile {where}: not TOML: {error}") from None
    if own.get("extends") != "default":
        raise ProfileError(
            f'practice profile {where}: extends is {own.get("extends")!r}: it must say extends = "default"'
        )
    _refuse_unknown(own, _HEAD_KEYS, where, "")
    merged = dict(_default_data())
    for key in ("name", "version"):
        if key not in own:
            raise ProfileError(
                f"practice profile {where}: {key} is missing: give the clinic's profile its own"
            )
        merged[key] = own[key]
    for table, allowed in (
        ("numbers", _NUMBER_KEYS),
        ("starting_power_w", _NUMBER_KEYS),
        ("rule", _RULE_KEYS),
    ):
        merged[table] = _merge(merged[table], own.get(table, {}), allowed, where, table)
    return _validated(merged, where)


def _merge(
    base: Mapping[str, Any], own: Any, allowed: frozenset[str], where: str, table: str
) -> dict[str, dict[str, Any]]:
    if not isinstance(own, dict):
        raise ProfileError(f"practice profile {where}: {table} is {own!r}: it must be a table")
    _refuse_unknown(own, frozenset(base), where, f"{table}.")
    merged = {key: dict(entry) for key, entry in base.items()}
    for key, change in own.items():
        if not isinstance(change, dict):
            raise ProfileError(f"practice profile {where}: {table}.{key} is {change!r}: it must be a table")
        _refuse_unknown(change, allowed, where, f"{table}.{key}.")
        if not str(change.get("source", "")).strip():
            raise ProfileError(
                f"practice profile {where}: {table}.{key}.source is missing: say who set the change and why"
            )
        merged[key] = {**merged[key], "label": "clinic", **change}
    return merged


def _refuse_unknown(given: Mapping[str, Any], allowed: frozenset[str], where: str, prefix: str) -> None:
    for key in given:
        if key not in allowed:
            listed = ", ".join(sorted(allowed))
            raise ProfileError(f"practice profile {where}: {prefix}{key} is not known: allowed are {listed}")


def _validated(data: Mapping[str, Any], where: str) -> PracticeProfile:
    try:
        return PracticeProfile.model_validate(data)
    except ValidationError as error:
        fault = first_fault(error, "profile", with_value=True)
        raise ProfileError(f"practice profile {where}: {fault}") from None


@cache
def default_profile() -> PracticeProfile:
    """The shipped profile."""
    return _validated(_default_data(), "default")
