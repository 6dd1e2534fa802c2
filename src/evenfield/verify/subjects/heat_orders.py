"""How fast the heat solver's error falls when cells or time steps are halved."""

from __future__ import annotations

import numpy as np

from evenfield.tissue import Label
from evenfield.verify.checks import Subject, check
from evenfield.verify.heat_orders import error_in_time, slab_error


@check(
    "heat_order_in_space",
    Subject.HEAT,
    "Pennes slab through the 3-D solver: order of convergence when 12 cells become 24",
    expected=2.0,
    tolerance=0.15,
    source="trilinear elements: error goes with the square of the cell size",
    label=Label.C,
)
def _in_space() -> float:
    return float(np.log2(slab_error(12) / slab_error(24)))


@check(
    "heat_order_in_time",
    Subject.HEAT,
    "fat with flow that follows temperature: order of convergence when 10 time steps become 20",
    expected=2.0,
    tolerance=0.2,
    source="ROS2 is of second order (Verwer et al. 1999); exact answer by SciPy's DOP853",
    label=Label.C,
)
def _in_time() -> float:
    return float(np.log2(error_in_time(10) / error_in_time(20)))
