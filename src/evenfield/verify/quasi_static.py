"""What the quasi-static field costs, measured: layered cylinders against Maxwell's equations in full.

`python -m evenfield.verify.quasi_static` prints the tables of docs/quasi_static.md; that page holds the
formulas, their sources and what the comparison covers.

A limb or trunk is a long cylinder of concentric layers, and the panels' charges, uniform along the axis,
drive it with the potential Σ_n (P_n cos nθ + Q_n sin nθ)(r/R)ⁿ. The same charges drive the full-wave
problem through the regular waves with the same electric field near the axis and no magnetic field there
(closed_forms.layered_cylinder.full_wave_field).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import pi, radians

import numpy as np
from numpy.typing import NDArray
from scipy.constants import mu_0

from evenfield.tissue import FREQUENCY_HZ, TissueSet, load_tissue_set
from evenfield.verify.closed_forms.layered_cylinder import (
    Cylinder,
    axial_magnetic_field,
    axial_wave_order,
    full_wave_field,
    in_air,
    layer_losses,
    quasi_static_field,
)

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
FieldOf = Callable[[Cylinder, int, Real], tuple[Complex, Complex]]

ORDERS = 60
"""Angular orders summed; (R/R_panel)ⁿ/n² is below 1e-5 of the first at this order for the gaps here."""


@dataclass(frozen=True)
class Limb:
    """Layers of a cross-section from the axis outwards (an invented but ordinary body, all A)."""

    name: str
    tissues: tuple[str, ...]
    outer_radius_m: tuple[float, ...]

    def cylinder(self, tissues: TissueSet, frequency_hz: float = FREQUENCY_HZ) -> Cylinder:
        admittivity = tuple(
            complex(tissues.tissue(name).dielectric.admittivity(frequency_hz)) for name in self.tissues
        )
        return in_air(self.outer_radius_m, admittivity, frequency_hz)


def limbs(fat: str) -> tuple[Limb, ...]:
    """Upper arm, thigh and trunk with the given kind of fat."""
    return (
        Limb("upper arm", ("bone_cortical", "muscle", fat, "skin"), (0.011, 0.036, 0.048, 0.050)),
        Limb("thigh", ("bone_cortical", "muscle", fat, "skin"), (0.014, 0.078, 0.093, 0.095)),
        Limb("trunk", ("core", "muscle", fat, "skin"), (0.098, 0.113, 0.138, 0.140)),
    )


@dataclass(frozen=True)
class Strip:
    """A panel seen along the axis: an arc of uniform charge at angle `angle_rad`, relative `charge`."""

    angle_rad: float
    width_m: float
    gap_m: float
    charge: float


@dataclass(frozen=True)
class Drive:
    """What the outside does: a uniform transverse field (no strips) or the charges of strips."""

    name: str
    strips: tuple[Strip, ...] = ()

    def multipoles(self, radius_m: float, orders: int = ORDERS) -> tuple[Real, Real]:
        """(P, Q), each (orders,), for n = 1..orders, up to a common factor.

        Inside a circle of radius S a uniform arc of charge, half-angle β, at angle α has the potential
        Σ_n (r/S)ⁿ sinc(nβ) cos n(θ−α) / n up to a factor (two-dimensional multipoles of a line charge
        ln|r − r'|, Jackson 1999, problem 2.11 and sec. 2.11).
        """
        n = np.arange(1, orders + 1)
        cosine, sine = np.zeros(orders), np.zeros(orders)
        if not self.strips:
            cosine[0] = 1.0
        for strip in self.strips:
            S = radius_m + strip.gap_m
            half_angle = strip.width_m / 2.0 / S
            size = strip.charge * (radius_m / S) ** n / n * np.sinc(n * half_angle / pi)
            cosine += size * np.cos(n * strip.angle_rad)
            sine += size * np.sin(n * strip.angle_rad)
        return cosine, sine


UNIFORM = Drive("uniform transverse field")
FACING = Drive(
    "two facing strips, 90 mm wide, gap 12 mm", (Strip(0.0, 0.09, 0.012, 1.0), Strip(pi, 0.09, 0.012, -1.0))
)
SIDE_BY_SIDE = Drive(
    "two strips side by side at ±35°, 90 mm wide, gap 12 mm",
    (Strip(radians(35.0), 0.09, 0.012, 1.0), Strip(radians(-35.0), 0.09, 0.012, -1.0)),
)


class CrossSection:
    """Field of a cylinder under a drive, from one of the two theories."""

    def __init__(self, cylinder: Cylinder, drive: Drive, field: FieldOf) -> None:
        self.cylinder = cylinder
        self._field = field
        self._cosine, self._sine = drive.multipoles(cylinder.outer_radius_m[-1])
        size = np.hypot(self._cosine, self._sine)
        self._orders = np.flatnonzero(size > 1e-9 * size.max()) + 1

    def mean_square(self, r: Real) -> Real:
        """Mean of |E|² around the circle of radius r: half the sum over the orders (they are orthogonal)."""
        total = np.zeros(r.shape)
        for n in self._orders:
            e_r, e_t = self._field(self.cylinder, int(n), r)
            weight = (self._cosine[n - 1] ** 2 + self._sine[n - 1] ** 2) / 2.0
            total += weight * (np.abs(e_r) ** 2 + np.abs(e_t) ** 2)
        return total

    def square(self, r: Real, theta: Real) -> Real:
        """|E|² at radii (n,) and angles (m,): shape (n, m)."""
        E_r = np.zeros((r.size, theta.size), dtype=np.complex128)
        E_t = np.zeros_like(E_r)
        for n in self._orders:
            e_r, e_t = self._field(self.cylinder, int(n), r)
            p, q = self._cosine[n - 1], self._sine[n - 1]
            E_r += np.outer(e_r, p * np.cos(n * theta) + q * np.sin(n * theta))
            E_t += np.outer(e_t, p * np.sin(n * theta) - q * np.cos(n * theta))
        return np.asarray(np.abs(E_r) ** 2 + np.abs(E_t) ** 2, dtype=np.float64)

    def losses(self) -> Real:
        """Loss per layer (L,) [W/m, up to the drive's factor]."""
        return layer_losses(self.cylinder, self.mean_square)


@dataclass(frozen=True)
class Comparison:
    """Quasi-static against full wave for one limb and drive, at equal absorbed power.

    `share`, `share_full` per tissue [1]; `drive_error` relative error of the absorbed power at equal charge;
    `l2` relative volume-L2 difference of SAR per tissue; `hottest` (quasi-static/full wave − 1) at each
    tissue's hottest point of the full-wave field, and `axis` the same on the axis of the whole section.
    """

    tissues: tuple[str, ...]
    share: Real
    share_full: Real
    drive_error: float
    l2: Real
    hottest: Real
    axis: float

    @property
    def share_error(self) -> float:
        """Largest difference of a share [percentage points]."""
        return float(100.0 * np.max(np.abs(self.share - self.share_full)))


def compare(limb: Limb, drive: Drive, tissues: TissueSet, frequency_hz: float = FREQUENCY_HZ) -> Comparison:
    """Both theories on one cross-section, scaled to the same absorbed power."""
    cylinder = limb.cylinder(tissues, frequency_hz)
    quasi = CrossSection(cylinder, drive, quasi_static_field)
    full = CrossSection(cylinder, drive, full_wave_field)
    loss, loss_full = quasi.losses(), full.losses()
    theta = np.linspace(0.0, 2.0 * pi, 180, endpoint=False)
    node, weight = np.polynomial.legendre.leggauss(10)
    bounds = (0.0, *cylinder.outer_radius_m)
    l2, hottest = np.empty(loss.size), np.empty(loss.size)
    for i in range(loss.size):
        half = (bounds[i + 1] - bounds[i]) / 2.0
        r = bounds[i] + half * (node + 1.0)
        a = quasi.square(r, theta) / loss.sum()
        b = full.square(r, theta) / loss_full.sum()
        area = (weight * r)[:, None]
        l2[i] = np.sqrt(np.sum(area * (a - b) ** 2) / np.sum(area * b**2))
        hot = np.unravel_index(np.argmax(b), b.shape)
        hottest[i] = a[hot] / b[hot] - 1.0
    centre = np.array([1e-4])
    on_axis = (
        quasi.square(centre, theta[:1])[0, 0]
        / loss.sum()
        * loss_full.sum()
        / full.square(centre, theta[:1])[0, 0]
    )
    return Comparison(
        tissues=limb.tissues,
        share=loss / loss.sum(),
        share_full=loss_full / loss_full.sum(),
        drive_error=float(loss.sum() / loss_full.sum() - 1.0),
        l2=l2,
        hottest=hottest,
        axis=float(on_axis - 1.0),
    )


@dataclass(frozen=True)
class StrayMagnetic:
    """Loss per metre of length [W/m] for 1 A/m (rms) of outside magnetic field, along and across the axis."""

    along_w_m: float
    across_w_m: float


def stray_magnetic(limb: Limb, tissues: TissueSet, frequency_hz: float = FREQUENCY_HZ) -> StrayMagnetic:
    """What a magnetic field from outside (cables, loops) adds; the quasi-static forecast leaves it out.

    Along the axis: order 0 of H_z. Across it: order 1 of E_z, incident E_z = jωμ₀Hx.
    """
    cylinder = limb.cylinder(tissues, frequency_hz)
    order = axial_wave_order(cylinder, 1)
    R = cylinder.outer_radius_m[-1]
    scale = cylinder.omega * mu_0 * R
    along = layer_losses(cylinder, lambda r: np.abs(axial_magnetic_field(cylinder, r)) ** 2)
    across = layer_losses(cylinder, lambda r: np.abs(scale * order.value(r)) ** 2 / 2.0)
    return StrayMagnetic(float(along.sum()), float(across.sum()))


FATS = ("fat_average_infiltrated", "fat_not_infiltrated")


def cases() -> list[tuple[str, Limb, Drive]]:
    """(fat, limb, drive) of every row of the table."""
    return [
        (fat, limb, drive)
        for fat in FATS
        for limb in limbs(fat)
        for drive in (UNIFORM, FACING, *((SIDE_BY_SIDE,) if limb.name == "trunk" else ()))
    ]


def table(tissues: TissueSet) -> str:
    """The measured tables of docs/quasi_static.md, in Markdown."""
    lines: list[str] = []
    for fat in FATS:
        lines += [
            f"\n### {fat.replace('_', ' ')}\n",
            "| limb | drive | power at equal charge | largest share error, points | SAR, L2: "
            "skin | fat | muscle | hottest fat | hottest muscle | on the axis |",
            "|---|---|---|---|---|---|---|---|---|---|",
        ]
        for row_fat, limb, drive in cases():
            if row_fat != fat:
                continue
            c = compare(limb, drive, tissues)
            at = {name: i for i, name in enumerate(c.tissues)}
            cells: Sequence[float] = (
                c.l2[at["skin"]],
                c.l2[at[fat]],
                c.l2[at["muscle"]],
            )
            signed = (c.hottest[at[fat]], c.hottest[at["muscle"]], c.axis)
            lines.append(
                f"| {limb.name} | {drive.name} | {100 * c.drive_error:+.1f} % | {c.share_error:.2f} | "
                + " | ".join(f"{100 * v:.1f} %" for v in cells)
                + " | "
                + " | ".join(f"{100 * v:+.1f} %" for v in signed)
                + " |"
            )
    lines += [
        "\n### Stray magnetic field\n",
        "| limb | along the axis, W/m per (A/m)² | across the axis, W/m per (A/m)² |",
        "|---|---|---|",
    ]
    for limb in limbs(FATS[0]):
        stray = stray_magnetic(limb, tissues)
        lines.append(f"| {limb.name} | {stray.along_w_m:.2f} | {stray.across_w_m:.2f} |")
    return "\n".join(lines)


def main() -> None:
    """Print the tables."""
    print(table(load_tissue_set()))


if __name__ == "__main__":
    main()
