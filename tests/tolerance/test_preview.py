"""The preview of an example's arm against full answers, in a file and back, and where it asks for more.

Built once on the example's own grid for a visit of ten minutes; placements for the check come from a
generator that the building has not seen.
"""

import json
from dataclasses import replace
from math import radians
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from evenfield.applicator import PlacementError
from evenfield.case import Case, read_case
from evenfield.forecast.engine import setting_of
from evenfield.heat.power import PowerCurve
from evenfield.tolerance import (
    PanelChange,
    PreviewFileError,
    PreviewRangeError,
    WhatIf,
    WhatIfPreview,
    build_preview,
    full_answer,
    load_preview,
    save_preview,
)
from evenfield.tolerance.nearby import Nearby
from evenfield.tolerance.outcome import solve_outcome
from evenfield.tolerance.preview_build import errors

EXAMPLES = Path(__file__).parents[2] / "examples"
CLOSER = WhatIf((PanelChange("inner", gap_m=0.010),))


def arm() -> Case:
    case = read_case(EXAMPLES / "upper_arm.toml")
    power = PowerCurve.constant(28.0, 600.0)
    return replace(case, session=replace(case.session, power=power, picture_s=600.0))


@pytest.fixture(scope="module")
def built() -> tuple[WhatIfPreview, list[str]]:
    steps: list[str] = []
    preview = build_preview(arm(), progress=lambda step, share: steps.append(step), checked=18)
    return preview, list(dict.fromkeys(steps))


@pytest.fixture(scope="module")
def preview(built: tuple[WhatIfPreview, list[str]]) -> WhatIfPreview:
    return built[0]


def anywhere(nearby: Nearby, count: int) -> list[NDArray[np.float64]]:
    """Random possible placements, some near the base and some far from it."""
    chance = np.random.default_rng(27)
    found: list[NDArray[np.float64]] = []
    while len(found) < count:
        point = chance.uniform(-1.0, 1.0, nearby.size) * chance.uniform(0.2, 1.0)
        try:
            nearby.point(nearby.placed(point))
        except ValueError:
            continue
        found.append(point)
    return found


@pytest.mark.slow
def test_the_error_bound_holds_on_fifty_random_placements(preview: WhatIfPreview) -> None:
    nearby, setting = Nearby(preview.case), setting_of(preview.case)
    moved = 0.0
    for point in anywhere(nearby, 50):
        other = nearby.placed(point)
        outcome = preview.outcome(other)
        full = solve_outcome(other, setting, preview.frame.layout, until_s=0.0)
        bound = preview.error.at(point, outcome)
        allowed = [bound.skin_k, bound.fat_k, bound.evenness, bound.tuning]
        assert np.all(np.abs(errors(preview, outcome, full)) <= allowed), point
        moved = max(moved, abs(full.fat_c[-1] - preview.base.fat_c[-1]))
    assert moved > 2.0, "there was something to foretell"


@pytest.mark.slow
def test_the_bound_is_worth_having(preview: WhatIfPreview) -> None:
    """A gap's bound stays below what would hide the effect of a tilted panel; nothing changed is nothing."""
    tilt = WhatIf((PanelChange("inner", tilt_along_rad=radians(-5)),))
    answer = preview.preview(tilt)
    assert answer.bound is not None
    assert answer.outcome.skin_c[-1] - answer.base.skin_c[-1] > 2 * answer.bound.skin_k
    still = preview.preview(WhatIf())
    assert still.outcome.skin_c == pytest.approx(still.base.skin_c, abs=1e-9)


@pytest.mark.slow
def test_preview_and_full_answer_say_the_same_in_the_same_words(preview: WhatIfPreview) -> None:
    quick, full = preview.preview(CLOSER), full_answer(preview.case, CLOSER, preview.base)
    for answer in (quick, full):
        assert answer.words.startswith("Inner panel 2 mm closer: hottest skin ")
        assert "after 10 min, at the " in answer.words
        assert "evenness" in answer.words
        assert f"tuning {answer.base.tuning_percent:.0f} % to " in answer.words
        assert answer.outcome.tuning_percent > answer.base.tuning_percent + 1.0
        assert "generic circuit" in answer.words
    assert "(± " in quick.words
    assert "(± " not in full.words
    document = json.loads(json.dumps(quick.to_json(), allow_nan=False))
    assert document["kind"] == "preview"
    assert document["error"]["skin_k"] > 0
    assert full.to_json()["error"] is None
    assert document["change"]["tuning_points"] == pytest.approx(
        full.to_json()["change"]["tuning_points"], abs=document["error"]["tuning"]
    )


@pytest.mark.slow
def test_more_power_and_minutes_are_hotter(preview: WhatIfPreview) -> None:
    stronger = preview.preview(WhatIf(watts=35.0))
    assert stronger.outcome.fat_c[-1] > stronger.base.fat_c[-1] + 0.5
    assert "35 W instead of 28 W" in stronger.words
    longer = preview.preview(WhatIf(minutes=20.0))
    assert longer.outcome.minute[-1] == 20.0
    assert longer.outcome.fat_c[-1] > longer.base.fat_c[-1] + 0.3
    assert longer.outcome.fat_c[10] == pytest.approx(longer.base.fat_c[10], abs=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("what_if", "words"),
    [
        (WhatIf((PanelChange("inner", gap_m=0.030),)), "gap: 18.0 mm from the base; a preview holds to 5.0"),
        (WhatIf((PanelChange("outer", tilt_along_rad=radians(9)),)), "tilt along: 9.0° from the base"),
        (WhatIf(watts=60.0), "power is 60 W; a preview holds to 42 W"),
        (WhatIf(minutes=90.0), "lasts 90 min"),
        (WhatIf((PanelChange("inner", drive=-1.0),)), "signs"),
    ],
)
def test_beyond_its_range_it_asks_for_the_full_answer(
    preview: WhatIfPreview, what_if: WhatIf, words: str
) -> None:
    with pytest.raises(PreviewRangeError, match=r"; ask for the full answer$") as refused:
        preview.preview(what_if)
    assert words in str(refused.value)


@pytest.mark.slow
def test_an_impossible_placement_is_refused(preview: WhatIfPreview) -> None:
    with pytest.raises(PlacementError, match="level"):
        preview.preview(WhatIf((PanelChange("inner", along_m=0.015),)))


@pytest.mark.slow
def test_a_file_gives_the_same_answers(preview: WhatIfPreview, tmp_path: Path) -> None:
    path = tmp_path / "arm.npz"
    save_preview(preview, path)
    again = load_preview(path)
    assert again.case == preview.case
    assert again.preview(CLOSER).to_json() == preview.preview(CLOSER).to_json()


@pytest.mark.slow
def test_a_preview_of_another_grid_is_refused(preview: WhatIfPreview, tmp_path: Path) -> None:
    path = tmp_path / "other_grid.npz"
    learned = replace(preview.learned, mean=preview.learned.mean[1:])
    save_preview(replace(preview, learned=learned), path)
    with pytest.raises(PreviewFileError, match="build the preview anew"):
        load_preview(path)


def test_another_file_is_no_preview(tmp_path: Path) -> None:
    path = tmp_path / "other.npz"
    np.savez(path, form=1)
    with pytest.raises(PreviewFileError, match="no preview"):
        load_preview(path)


@pytest.mark.slow
def test_the_progress_names_its_steps(built: tuple[WhatIfPreview, list[str]]) -> None:
    assert built[1] == ["fields", "reduced heat", "check against full answers"]


@pytest.mark.slow
def test_building_can_be_cancelled() -> None:
    class Stop(Exception):  # noqa: N818
        pass

    def stop(step: str, share: float) -> None:
        raise Stop

    with pytest.raises(Stop):
        build_preview(arm(), progress=stop)
