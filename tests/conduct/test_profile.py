"""The practice profile: what it must hold, what a clinic may change, and what it is told when it may not."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfield.conduct import ProfileError, default_profile, read_profile
from evenfield.conduct.actions import ADDS_HEAT, CONFLICTS, HOLDS_HEAT, TAKES_HEAT, TASKS, Action
from evenfield.conduct.profile import PRACTICE, Numbers
from evenfield.conduct.reference import conduct_page
from evenfield.conduct.rules import MISSING, RULES
from tests.conduct.visit import Visit, estimate, holding, started, zone

HEAD = 'extends = "default"\nname = "invented clinic"\nversion = "3"\n'


def test_the_rules_as_data_are_the_rules_as_code() -> None:
    assert {rule.id for rule in RULES} == set(default_profile().rule)
    assert len({rule.id for rule in RULES}) == len(RULES)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("gap_mm", 10),
        ("tuning_least_percent", 80),
        ("increase_earliest_minutes", 4),
        ("increase_consider_minutes", 5),
        ("hot_spot_wait_minutes", 2),
        ("session_minutes", 30),
        ("session_most_minutes", 45),
    ],
)
def test_figures_of_practice_are_in_the_default_and_marked_so(name: str, value: float) -> None:
    """About 1 cm; 80 % or better; 4-5 minutes; 1-2 minutes; 30-45 minutes: common practice, no source."""
    number = getattr(default_profile().numbers, name)
    assert number.value == value
    assert number.label == PRACTICE


def test_the_only_starting_power_with_a_ground_is_that_of_the_thigh() -> None:
    """80 W is usual on a thigh: common practice, no source."""
    powers = default_profile().starting_power_w
    assert powers["thigh"].value == 80
    assert [region for region, power in powers.items() if power.label == PRACTICE] == ["thigh"]
    assert all(power.value < 80 for region, power in powers.items() if region != "thigh")


def test_the_skin_limit_is_the_published_one_for_heat_not_tracked() -> None:
    """van Rhoon et al., Eur Radiol 23:2215 (2013): keep to 39 °C (P)."""
    limit = default_profile().numbers.skin_limit_c
    assert limit.value == 39
    assert limit.label == "P"
    assert "van Rhoon" in limit.source


def test_the_profile_says_what_overrules_it() -> None:
    said = default_profile().overruled_by
    assert "manual" in said
    assert "licensed clinician" in said
    assert "no alarm system" in said


def test_practice_text_stands_where_no_source_does() -> None:
    for rule_id, text in default_profile().rule.items():
        if text.label == PRACTICE:
            assert "practice of the trade" in text.source, rule_id


def test_no_rule_calls_anything_safe_or_promises_a_result() -> None:
    for text in default_profile().rule.values():
        words = f"{text.what} {text.why}".lower()
        assert "safe" not in words
        assert "fat loss" not in words
        assert "alarm" not in words


def test_every_action_is_of_one_kind_and_every_heat_adding_one_conflicts_with_every_heat_taking_one() -> None:
    assert set(Action) == ADDS_HEAT | TAKES_HEAT | HOLDS_HEAT | TASKS
    assert len(ADDS_HEAT) + len(TAKES_HEAT) + len(HOLDS_HEAT) + len(TASKS) == len(Action)
    assert all(frozenset((add, take)) in CONFLICTS for add in ADDS_HEAT for take in TAKES_HEAT)


def test_every_enabled_rule_is_asked_of_an_action_it_can_be_answered_by() -> None:
    kinds = {"paused", "resumed", "stopped", "power_set", "tuning_shown", "panel_moved", "comfort"}
    kinds |= {"skin_reading", "skin_looked", "hot_spot", "hot_spot_gone"}
    assert {rule.entry for rule in RULES if rule.entry} <= kinds


def test_a_clinic_changes_only_what_differs_and_says_who_set_it() -> None:
    text = HEAD + '[numbers.comfort_interval_minutes]\nvalue = 5\nsource = "our lead clinician"\n'
    profile = read_profile(text, "clinic.toml")
    assert profile.numbers.comfort_interval_minutes.value == 5
    assert profile.numbers.comfort_interval_minutes.label == "clinic"
    assert profile.numbers.gap_mm == default_profile().numbers.gap_mm
    assert profile.overruled_by == default_profile().overruled_by
    visit = started(profile=profile)
    assert "comfort_ask" not in visit.rules(299)
    assert "comfort_ask" in visit.rules(300)


def test_a_clinics_words_and_numbers_reach_the_prompt() -> None:
    text = (
        HEAD
        + '[rule.start_gap]\nwhat = "Spacer of {gap_mm} mm under each panel."\nsource = "our protocol"\n'
        + '[numbers.gap_mm]\nvalue = 12.5\nsource = "manual of our device"\n'
    )
    visit = Visit(read_profile(text, "t")).enter(*started().events[:1])
    assert visit.prompt("start_gap", 0).what == "Spacer of 12.5 mm under each panel."
    assert visit.prompt("start_gap", 0).source == "our protocol"


def test_a_rule_switched_off_says_nothing() -> None:
    text = HEAD + '[rule.reading_due]\nenabled = false\noff_because = "a feed reads"\nsource = "us"\n'
    visit = Visit(read_profile(text, "t"), holding().events)
    assert "reading_due" in holding().rules(600)
    assert "reading_due" not in visit.rules(600)
    off = HEAD + f'[rule.{MISSING}]\nenabled = false\noff_because = "we enter by hand"\nsource = "us"\n'
    assert Visit(read_profile(off, "t"), holding().events).rules(600) == holding().rules(600)


def test_no_ranks_and_urgencies_let_heat_adding_win() -> None:
    """Even a clinic that ranks raising first and less power last."""
    text = (
        HEAD
        + '[rule.raise_step]\nrank = 1\nurgency = "now"\nsource = "us"\n'
        + '[rule.skin_over_estimated]\nrank = 9999\nurgency = "when you can"\nsource = "us"\n'
    )
    visit = Visit(read_profile(text, "t"), started().events)
    assert visit.rules(60)[0] == "raise_step"
    hot = estimate(60, zone(skin_c=40))
    assert "skin_over_estimated" in visit.rules(60, hot)
    assert "raise_step" not in visit.rules(60, hot)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("extends = ", "not TOML"),
        ('name = "x"\nversion = "1"\n', 'it must say extends = "default"'),
        ('extends = "default"\nversion = "1"\n', "name is missing"),
        (HEAD + "[number.gap_mm]\nvalue = 12\n", "number is not known: allowed are"),
        (HEAD + '[numbers.gap]\nvalue = 12\nsource = "us"\n', "numbers.gap is not known"),
        (HEAD + "[numbers.gap_mm]\nvalue = 12\n", "numbers.gap_mm.source is missing"),
        (HEAD + '[numbers.gap_mm]\nvalue = 300\nsource = "us"\n', "value is 300: allowed 3 to 50 mm"),
        (HEAD + '[numbers.gap_mm]\nvalue = nan\nsource = "us"\n', "numbers.gap_mm.value"),
        (HEAD + '[numbers.gap_mm]\nallowed = [0, 1]\nsource = "us"\n', "allowed is not known"),
        (HEAD + "[numbers]\ngap_mm = 12\n", "it must be a table"),
        (HEAD + '[numbers.fat_band_low_c]\nvalue = 42\nsource = "us"\n', "the first must be the smaller"),
        (HEAD + '[starting_power_w.foot]\nvalue = 10\nsource = "us"\n', "starting_power_w.foot is not known"),
        (HEAD + '[rule.raise_step]\nenabled = false\nsource = "us"\n', "say why in off_because"),
        (HEAD + '[rule.raise_step]\nrank = 440\nsource = "us"\n', "ranks must differ"),
        (HEAD + '[rule.raise_step]\nurgency = "at once"\nsource = "us"\n', "rule.raise_step.urgency"),
        (HEAD + '[rule.raise_step]\nwhat = "to {zone}"\nsource = "us"\n', "names {zone}: allowed are"),
        (HEAD + '[rule.raise_step]\nwhat = "to {next_w.real}"\nsource = "us"\n', "names {next_w.real}"),
        (HEAD + '[rule.raise_step]\nwhat = "to {next_w"\nsource = "us"\n', "what cannot be read"),
    ],
)
def test_a_profile_that_cannot_be_used_is_refused_in_one_sentence(text: str, said: str) -> None:
    with pytest.raises(ProfileError) as refused:
        read_profile(text, "clinic.toml")
    assert said in str(refused.value)
    assert "practice profile clinic.toml" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_the_page_of_rules_is_current() -> None:
    """Else: python -m evenfield.conduct.reference > docs/conduct.md."""
    page = Path(__file__).parents[2] / "docs" / "conduct.md"
    assert page.read_text(encoding="utf-8") == conduct_page(default_profile())


def test_the_page_lists_every_rule_and_number_with_its_source() -> None:
    page = conduct_page(default_profile())
    for rule_id, text in default_profile().rule.items():
        assert f"**`{rule_id}`**" in page
        assert text.source in page
    assert all(f"`{name}`" in page for name in Numbers.model_fields)


def test_the_example_on_the_page_is_a_profile_that_can_be_used() -> None:
    page = conduct_page(default_profile())
    example = page.split("```toml\n")[1].split("```")[0]
    assert read_profile(example, "example").numbers.skin_limit_c.value == 40
