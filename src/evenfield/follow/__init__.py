"""The live estimate: skin and fat of every zone through a visit, with intervals, from a plan and what is
recorded.

An ensemble of reduced heat models (`heat.reduced`), each with its own absorbed fraction, blood flow, skin
exchange, placement error and thermometer offset, is corrected by every reading. It is an estimate and no
measurement, and no alarm: method, priors, errors and limits are in docs/follow.md.
"""

from evenfield.follow.follower import Disagreement, Following, begin, follow, settled, take
from evenfield.follow.inputs import (
    ComfortSaid,
    FieldOff,
    FieldOn,
    FollowError,
    HotSpotSaid,
    Input,
    PanelShift,
    PowerNow,
    SkinRead,
    TuningNow,
)
from evenfield.follow.model import FollowModel, FollowPanel, FollowZone, from_npz, to_npz
from evenfield.follow.outlook import Curves, Interval, LiveEstimate, ZoneOutlook, look
from evenfield.follow.plan import prepare
from evenfield.follow.prior import Prior

__all__ = [
    "ComfortSaid",
    "Curves",
    "Disagreement",
    "FieldOff",
    "FieldOn",
    "FollowError",
    "FollowModel",
    "FollowPanel",
    "FollowZone",
    "Following",
    "HotSpotSaid",
    "Input",
    "Interval",
    "LiveEstimate",
    "PanelShift",
    "PowerNow",
    "Prior",
    "SkinRead",
    "TuningNow",
    "ZoneOutlook",
    "begin",
    "follow",
    "from_npz",
    "look",
    "prepare",
    "settled",
    "take",
    "to_npz",
]
