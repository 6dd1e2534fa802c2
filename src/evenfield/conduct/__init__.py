"""Rules of conduct during a visit: from (events, estimate, now) to prompts, deterministic and replayable.

It advises; the device's manual, local rules and the supervising licensed clinician overrule it.
See docs/conduct.md.
"""

from __future__ import annotations

from evenfield.conduct.actions import Action, contradict
from evenfield.conduct.advice import (
    Advice,
    Coming,
    Prompt,
    advise,
    advise_state,
    prompt_to_mapping,
    prompts,
)
from evenfield.conduct.estimate import Estimate, Likely, ZoneEstimate
from evenfield.conduct.events import (
    Event,
    EventError,
    event_from_mapping,
    event_to_mapping,
)
from evenfield.conduct.fold import fold
from evenfield.conduct.profile import (
    PracticeProfile,
    ProfileError,
    Urgency,
    default_profile,
    read_profile,
)
from evenfield.conduct.replay import moments, replay, replay_to_json
from evenfield.conduct.state import Phase, State
from evenfield.conduct.timeline import standing

__all__ = [
    "Action",
    "Advice",
    "Coming",
    "Estimate",
    "Event",
    "EventError",
    "Likely",
    "Phase",
    "PracticeProfile",
    "ProfileError",
    "Prompt",
    "State",
    "Urgency",
    "ZoneEstimate",
    "advise",
    "advise_state",
    "contradict",
    "default_profile",
    "event_from_mapping",
    "event_to_mapping",
    "fold",
    "moments",
    "prompt_to_mapping",
    "prompts",
    "read_profile",
    "replay",
    "replay_to_json",
    "standing",
]
