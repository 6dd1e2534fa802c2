"""Changes in words: kelvins, points and minutes with their sign, none of them a signed nothing."""

from __future__ import annotations

from math import ceil, isnan


def signed(value: float, digits: int) -> str:
    """+0.8, -0.3; 0.0 where nothing is left of it after rounding."""
    rounded = round(value, digits)
    return f"{0.0:.{digits}f}" if rounded == 0 else f"{rounded:+.{digits}f}"


def kelvin(value: float) -> str:
    """+0.8 K."""
    return f"{signed(value, 1)} K"


def within(bound: float, digits: int) -> str:
    """± 0.2, rounded up: a bound is never told smaller than it is."""
    return f"± {ceil(round(bound * 10**digits, 6)) / 10**digits:.{digits}f}"


def until_band(minutes: float) -> str:
    """8.6 min; not reached."""
    if isnan(minutes):
        return "not reached"
    return f"{minutes:.1f} min" if minutes < 9.95 else f"{minutes:.0f} min"
