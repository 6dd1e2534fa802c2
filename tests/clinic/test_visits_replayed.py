"""A stored visit replays to the prompts it gave, with and without the estimate."""

from bisect import bisect_right
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from evenfield.case import case_from_toml
from evenfield.clinic.courses.models import Visit, VisitState
from evenfield.clinic.own_files import own_profile_file
from evenfield.clinic.visits.recording import take_batch
from evenfield.clinic.visits.replaying import replayed
from evenfield.clinic.visits.running import begin, running
from evenfield.clinic.visits.telling import question
from evenfield.conduct.replay import replay_to_json
from evenfield.follow import prepare, to_npz
from evenfield.forecast.accuracy import chosen_layout


def ms(moment: datetime) -> float:
    """As a right clock of a tablet shows it."""
    return moment.timestamp() * 1000.0


def lived(visit: Visit, *told: tuple[float, float, str, dict[str, Any]]) -> None:
    """Entries written and received so many seconds after the visit's start."""
    assert visit.started_at
    for number, (wrote_s, received_s, kind, said) in enumerate(told):
        wrote, received = (visit.started_at + timedelta(seconds=s) for s in (wrote_s, received_s))
        one = {
            "id": f"lived-{number:03}",
            "wrote_ms": ms(wrote),
            "offset_ms": 0.0,
            "event": {"kind": kind, **said},
        }
        [answer] = take_batch(visit.pk, {"sent_ms": ms(received), "entries": [one]}, received)
        assert answer.number, answer.refused


PLAYED: tuple[tuple[float, float, str, dict[str, Any]], ...] = (
    (10, 10, "started", {}), (12, 12, "power_set", {"watts": 20}), (20, 20, "tuning_shown", {"percent": 86}),
    (100, 100, "hot_spot", {"zone": "front"}), (130, 190, "hot_spot_gone", {}),
    (240, 240, "power_set", {"watts": 90}),
    (250, 250, "prompt_answered", {"prompt": "raised_fast:lived-005", "answer": "not_now", "reason": "w"}),
    (260, 260, "correction", {"of": "lived-005", "replacement": {"kind": "power_set", "watts": 30}}),
    (300, 300, "comfort", {"score": 3}), (340, 420, "too_hot_all_over", {}), (500, 500, "stopped", {}),
)  # fmt: skip


def test_a_stored_visit_replays_to_the_prompts_it_gave(begun: Visit) -> None:
    """Second by second as the live page was told then, with entries that came late and one corrected."""
    lived(begun, *PLAYED)
    assert begun.started_at
    shown = replayed(begun.pk, estimate=False).shown
    moments = [now_s for now_s, _prompts in shown]
    for second in range(600):
        then = running(begun, begun.started_at + timedelta(seconds=second + 0.5))
        assert then.advice(None).prompts == shown[bisect_right(moments, second + 0.5) - 1][1], second
    assert {"raised_fast", "hot_spot_move", "comfort_low", "skin_after"} <= {
        p.rule for _s, now in shown for p in now
    }
    with pytest.raises(Visit.DoesNotExist):
        replayed(999, estimate=False)


@pytest.mark.slow
def test_with_the_estimate_it_replays_to_the_same_prompts_too(visit: Visit) -> None:
    """The clinic's own skin limit is set low, so that the rules that watch the estimate speak."""
    case = (Path(__file__).parents[2] / "examples/upper_arm.toml").read_text("utf-8")
    own_profile_file().write_text(
        'extends = "default"\nname = "invented"\nversion = "1"\n'
        '[numbers.skin_limit_c]\nvalue = 34\nsource = "invented"\n'
    )
    try:
        visit.plan = {"case": case}
        visit.save()
        begun = begin(visit)
    finally:
        own_profile_file().unlink()
    begun.started_at = timezone.now() - timedelta(minutes=5)
    begun.ended_at, begun.state = timezone.now(), VisitState.DONE
    begun.save()
    lived(
        begun,
        *(
            (a, b, kind, said | {"zone": "inner: centre"} if "zone" in said else said)
            for a, b, kind, said in PLAYED[:6]
        ),
    )
    model = question(running(begun)).model
    read = case_from_toml(case, "example")
    layout = chosen_layout(read.region, read.placed).coarser().coarser()
    model.parent.mkdir(exist_ok=True)
    model.write_bytes(to_npz(prepare(read, layout=layout)))
    try:
        first, again = replayed(begun.pk, estimate=True), replayed(begun.pk, estimate=True)
    finally:
        model.unlink()
    assert replay_to_json(first.shown) == replay_to_json(again.shown)
    assert first.without_estimate == ""
    spoke = {prompt.rule for _s, prompts in first.shown for prompt in prompts}
    assert spoke & {"skin_over_estimated", "skin_near_estimated"}
