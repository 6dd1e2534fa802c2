"""Measuring change: error of measurement against published data."""

from __future__ import annotations

import numpy as np

from evenfield.outcome.error_of_measurement import mdc95, multi_observer_tem, percent_tem, reliability
from evenfield.tissue import Label
from evenfield.verify.checks import Subject, check

SOURCE = "Ulijaszek and Kerr, Br J Nutr 82:165 (1999), 10 people x 4 observers (data P)"

HEIGHT_MM = np.array(
    [
        [865, 863, 863, 864],
        [1023, 1023, 1027, 1025],
        [982, 980, 989, 985],
        [817, 816, 812, 817],
        [901, 894, 900, 903],
        [880, 876, 881, 881],
        [948, 947, 947, 946],
        [906, 905, 907, 908],
        [924, 924, 926, 924],
        [989, 987, 1002, 993],
    ]
)
READINGS_M = HEIGHT_MM / 1000.0


@check(
    "tem_four_observers",
    Subject.CHANGE,
    "TEM of four observers",
    expected=0.003063,
    tolerance=1e-6,
    unit="m",
    source=SOURCE,
    label=Label.C,
)
def _tem() -> float:
    return multi_observer_tem(READINGS_M)


@check(
    "tem_percent",
    Subject.CHANGE,
    "the same in percent of the mean",
    expected=0.332,
    tolerance=5e-4,
    unit="%",
    source=SOURCE,
    label=Label.C,
)
def _percent() -> float:
    return percent_tem(multi_observer_tem(READINGS_M), READINGS_M)


@check(
    "tem_reliability",
    Subject.CHANGE,
    "reliability R of the same",
    expected=0.99755,
    tolerance=5e-6,
    source=SOURCE,
    label=Label.C,
)
def _reliability() -> float:
    return reliability(multi_observer_tem(READINGS_M), READINGS_M)


@check(
    "mdc95_one_centimetre",
    Subject.CHANGE,
    "smallest real change of one reading for a TEM of 1 cm",
    expected=2.77,
    tolerance=5e-3,
    unit="cm",
    source="1.96·√2·SEM",
    label=Label.C,
)
def _mdc() -> float:
    return mdc95(1.0)
