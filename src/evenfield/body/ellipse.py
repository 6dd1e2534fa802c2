"""The cross-section: an ellipse of unit girth, scaled by the girth at each level.

A tape gives the perimeter and nothing of the shape, so one more number is needed: the ratio of width
(inner-outer, y) to depth (front-back, x). With semi-axes a (depth) and b (width), r = b/a and m = 1 - 1/r²,
the perimeter is 4 b E(m), E the complete elliptic integral of the second kind (Abramowitz & Stegun 1964,
17.3; exact, m may be negative). Every length here is in units of the girth.
"""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def wrap(angle: FloatArray) -> FloatArray:
    """Angle in [-pi, pi)."""
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi, dtype=np.float64)


@dataclass(frozen=True)
class UnitEllipse:
    """Ellipse of perimeter 1, its width `width_to_depth` times its depth; angles from the front (x)."""

    width_to_depth: float
    depth: float = field(init=False)
    width: float = field(init=False)

    def __post_init__(self) -> None:
        from scipy.special import ellipe  # read in here: a clinic's server starts without it

        b = 1.0 / (4.0 * float(ellipe(1.0 - self.width_to_depth**-2)))
        object.__setattr__(self, "width", b)
        object.__setattr__(self, "depth", b / self.width_to_depth)

    def radius(self, angle: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Distance from the centre along the ray at `angle`, and its derivative d(ln radius)/d(angle)."""
        return self.radius_towards(np.cos(angle), np.sin(angle))

    def radius_towards(self, cos: FloatArray, sin: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The same from the cosine and sine of the angle."""
        a2, b2 = self.depth**2, self.width**2
        d = b2 * cos * cos + a2 * sin * sin
        return self.depth * self.width / np.sqrt(d), (b2 - a2) * sin * cos / d

    def curvature(self, angle: FloatArray) -> FloatArray:
        """Curvature at `angle` (per girth): 1/(a²b²) (x²/a⁴ + y²/b⁴)^(-3/2)."""
        a2, b2 = self.depth**2, self.width**2
        rho, _ = self.radius(angle)
        x2, y2 = (rho * np.cos(angle)) ** 2, (rho * np.sin(angle)) ** 2
        return np.asarray((x2 / a2**2 + y2 / b2**2) ** -1.5 / (a2 * b2), dtype=np.float64)

    def arc(self, angle: FloatArray) -> FloatArray:
        """Length along the ellipse from the front to `angle`, unwrapped: it grows by 1 per turn.

        b E(t | m) with the eccentric angle t, tan(angle) = (b/a) tan t.
        """
        from scipy.special import ellipeinc

        t = angle + wrap(
            np.arctan2(self.depth * np.sin(angle), self.width * np.cos(angle)) - angle,
        )
        return np.asarray(self.width * ellipeinc(t, 1.0 - self.width_to_depth**-2), dtype=np.float64)

    def angle_near_arc(self, arc: FloatArray) -> FloatArray:
        """Angle at which `arc` is reached, off a coarse table: a first guess, good to about 0.001 rad."""
        turns = np.floor(arc)
        angle, length = self._table
        return np.asarray(np.interp(arc - turns, length, angle) + 2 * np.pi * turns, dtype=np.float64)

    @cached_property
    def _table(self) -> tuple[FloatArray, FloatArray]:
        angle = np.linspace(0, 2 * np.pi, 145)
        return angle, self.arc(angle)

    def normal_angle(self, angle: FloatArray) -> FloatArray:
        """Direction of the outward normal in the plane of the section, unwrapped with `angle`."""
        _, q = self.radius(angle)
        return np.asarray(angle - np.arctan(q), dtype=np.float64)
