"""The tuning a device would show for a computed admittance, by a device profile."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from evenfield.field import Cables, DeviceProfile, absorbed_fraction, load_device_profile


@cache
def generic_profile() -> DeviceProfile:
    """The profile that stands for no particular device."""
    return load_device_profile()


@dataclass(frozen=True)
class ExpectedTuning:
    """`percent`: tuning to expect on the display, everything as planned and the cables spread;
    `absorbed_share`: low, middle, high estimate of the share of set power that reaches the body by this
    profile; `profile`: its title; `generic`: whether it stands for no particular device."""

    percent: float
    absorbed_share: tuple[float, float, float]
    profile: str
    generic: bool

    @property
    def caution(self) -> str:
        """What must be said with the number."""
        if self.generic:
            return "by a generic circuit that stands for no device and is not calibrated: a rough guide"
        return f"by the device profile “{self.profile}”"

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        names = ("low", "mid", "high")
        return {
            "expected_percent": round(self.percent, 2),
            "absorbed_share": {n: round(v, 4) for n, v in zip(names, self.absorbed_share, strict=True)},
            "profile": self.profile,
            "generic": self.generic,
            "calibrated": False,
            "note": self.caution,
        }


def expected_tuning(
    admittance_s: complex, profile: DeviceProfile | None = None, cables: Cables = Cables.SPREAD
) -> ExpectedTuning:
    """The tuning to expect. Raises ValueError unless the load is a lossy capacitor."""
    used = profile or generic_profile()
    a = absorbed_fraction(used, admittance_s, cables)
    return ExpectedTuning(a.tuning_percent, (a.low, a.mid, a.high), used.title, used.generic)
