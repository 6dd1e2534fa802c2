"""Thermal dose and burn estimate against published definitions and thresholds."""

from __future__ import annotations

from functools import partial

import numpy as np
from scipy.optimize import brentq

from evenfield.dose import DILLER, WEAVER_STOLL, BurnLaw, burn_integral, cem43
from evenfield.tissue import Label
from evenfield.verify.checks import Check, Kind, Subject, check, register

CEM = "Sapareto and Dewey, IJROBP 10:787 (1984)"
MORITZ = "Moritz and Henriques (1947) thresholds as met by Diller's re-fit; coefficients from memory"


def constant(temperature_c: float, minutes: float) -> float:
    return float(cem43([0.0, minutes], [temperature_c, temperature_c]))


for _temperature, _minutes, _expected in (
    (42.0, 60.0, 15.0),
    (43.0, 60.0, 60.0),
    (44.0, 30.0, 60.0),
    (45.0, 10.0, 40.0),
    (38.9, 600.0, 0.0),
):
    register(
        Check(
            f"cem43_{_temperature:g}c",
            Subject.DOSE,
            f"CEM43 of {_temperature:g} °C for {_minutes:.0f} min",
            _expected,
            1e-9,
            Kind.ABSOLUTE,
            "min",
            CEM,
            Label.C,
            partial(constant, _temperature, _minutes),
        )
    )


@check(
    "cem43_ramp",
    Subject.DOSE,
    "CEM43 of a ramp 37 to 45 °C in 40 min, nothing counted below 39 °C",
    expected=25.233074,
    tolerance=1e-5,
    unit="min",
    source=CEM,
    label=Label.C,
)
def _ramp() -> float:
    return float(cem43([0.0, 40.0], [37.0, 45.0]))


@check(
    "cem43_ramp_all",
    Subject.DOSE,
    "the same without the cut-off",
    expected=25.246283,
    tolerance=1e-5,
    unit="min",
    source=CEM,
    label=Label.C,
)
def _ramp_all() -> float:
    return float(cem43([0.0, 40.0], [37.0, 45.0], None))


def minutes_to_burn(law: BurnLaw, temperature_c: float) -> float:
    """Minutes until the burn integral reaches 1 at a constant temperature."""

    def short(minutes: float) -> float:
        return float(burn_integral([0.0, minutes], [temperature_c] * 2, law)) - 1.0

    return float(brentq(short, 1e-3, 1e5))


for _temperature, _expected, _half_digit in (
    (44.0, 60 * 6.46, 0.3),
    (45.0, 60 * 3.15, 0.3),
    (47.0, 45.5, 0.05),
):
    register(
        Check(
            f"burn_{_temperature:.0f}c",
            Subject.DOSE,
            f"time to a burn integral of 1 at {_temperature:.0f} °C",
            _expected,
            _half_digit,
            Kind.ABSOLUTE,
            "min",
            MORITZ,
            Label.M,
            partial(minutes_to_burn, DILLER, _temperature),
        )
    )


for _temperature, _observed_min in ((44.0, 360.0), (45.0, 180.0), (47.0, 45.0)):
    register(
        Check(
            f"burn_{_temperature:.0f}c_observed",
            Subject.DOSE,
            f"the same at {_temperature:.0f} °C against the time observed",
            _observed_min,
            0.1,
            Kind.RELATIVE,
            "min",
            "Moritz and Henriques, Am J Pathol 23:695 (1947)",
            Label.P,
            partial(minutes_to_burn, DILLER, _temperature),
        )
    )


@check(
    "burn_bound_is_cautious",
    Subject.DOSE,
    "cautious bound over estimate, largest ratio of the times from 44 to 50 °C",
    expected=1.0,
    kind=Kind.AT_MOST,
    source="Weaver and Stoll (1969) against Diller's re-fit",
    label=Label.C,
)
def _cautious() -> float:
    return max(
        minutes_to_burn(WEAVER_STOLL, t) / minutes_to_burn(DILLER, t)
        for t in np.linspace(44.0, 50.0, 13).tolist()
    )
