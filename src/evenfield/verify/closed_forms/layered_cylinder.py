"""An infinitely long cylinder of concentric layers in a transverse field, by separation of variables.

Around the axis every transverse problem splits into angular orders n. In each layer the radial function is
a combination of two known ones, and two conditions hold at each interface, so order n of a cylinder of L
layers is a linear system of size 2L. That system is the same for the three problems solved here; only the
radial functions and the quantity whose flux is continuous differ:

| problem | unknown | radial functions | continuous at an interface |
|---|---|---|---|
| quasi-static | potential φ | rⁿ, r⁻ⁿ | φ and y ∂φ/∂r |
| full wave, E transverse to the axis | H_z | J_n(kr), Y_n(kr) | H_z and y⁻¹ ∂H_z/∂r |
| full wave, E along the axis | E_z | J_n(kr), Y_n(kr) | E_z and ∂E_z/∂r |

with k² = −jωμ₀y, time factor exp(+jωt), outgoing waves H_n⁽²⁾. Sources: J. D. Jackson, *Classical
Electrodynamics*, 3rd ed. 1999, sec. 3.7 and 4.4 (quasi-static); C. A. Balanis, *Advanced Engineering
Electromagnetics*, 1989, sec. 11.5 (full wave, one layer); the layered case is the same conditions repeated.

Transverse field of an order driven by an outside potential C rⁿ cos nθ (in the quasi-static limit):
E_r = e_r(r) cos nθ, E_θ = e_θ(r) sin nθ.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import factorial, pi

import numpy as np
from numpy.typing import NDArray
from scipy.constants import epsilon_0, mu_0
from scipy.special import hankel2, jv, yv

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


@dataclass(frozen=True)
class Cylinder:
    """Concentric layers from the axis outwards, in a surrounding medium.

    `outer_radius_m` (L,) increasing; `admittivity` (L,) [S/m]; `outside` the surrounding admittivity;
    `frequency_hz`. Raises ValueError if the radii do not increase or the two lengths differ.
    """

    outer_radius_m: tuple[float, ...]
    admittivity: tuple[complex, ...]
    frequency_hz: float
    outside: complex

    def __post_init__(self) -> None:
        if len(self.outer_radius_m) != len(self.admittivity):
            raise ValueError("outer_radius_m and admittivity must have one entry per layer")
        if np.any(np.diff((0.0, *self.outer_radius_m)) <= 0.0):
            raise ValueError(
                f"outer_radius_m must increase from the axis outwards, not {self.outer_radius_m}"
            )

    @property
    def omega(self) -> float:
        return 2.0 * pi * self.frequency_hz

    def wavenumber(self, admittivity: complex) -> complex:
        """k = sqrt(−jωμ₀y) with Im k ≤ 0, so that exp(−jkr) decays [1/m]."""
        k = complex(np.sqrt(-1j * self.omega * mu_0 * admittivity))
        return k if k.imag <= 0.0 else -k

    def layer_of(self, radius_m: Real) -> NDArray[np.intp]:
        """Layer index at a radius; len(layers) outside; an interface belongs to the inner layer."""
        return np.searchsorted(np.asarray(self.outer_radius_m), radius_m, side="left")


def in_air(
    outer_radius_m: tuple[float, ...], admittivity: tuple[complex, ...], frequency_hz: float
) -> Cylinder:
    """A cylinder surrounded by air, taken as vacuum: y = jωε₀."""
    return Cylinder(outer_radius_m, admittivity, frequency_hz, 2j * pi * frequency_hz * epsilon_0)


Radial = Callable[[int, Real], Complex]
"""(layer, radius) -> value; the layer index L stands for the outside."""


@dataclass(frozen=True)
class Order:
    """Solved angular order: `coefficients` (L+1, 2) of the two radial functions in each layer.

    The last row belongs to the outside: 1 for the incident function, then the scattered amplitude.
    """

    cylinder: Cylinder
    n: int
    coefficients: Complex
    first: Radial
    second: Radial
    first_slope: Radial
    second_slope: Radial

    def value(self, radius_m: Real) -> Complex:
        """The unknown's radial function f(r), shape of `radius_m`."""
        return self._mix(radius_m, self.first, self.second)

    def slope(self, radius_m: Real) -> Complex:
        """df/dr, shape of `radius_m`."""
        return self._mix(radius_m, self.first_slope, self.second_slope)

    def _mix(self, radius_m: Real, first: Radial, second: Radial) -> Complex:
        r = np.asarray(radius_m, dtype=np.float64)
        layer = self.cylinder.layer_of(r)
        out = np.zeros(r.shape, dtype=np.complex128)
        for index, (a, b) in enumerate(self.coefficients):
            here = layer == index
            out[here] = a * first(index, r[here])
            if b != 0.0:
                out[here] += b * second(index, r[here])
        return out


def _solve(
    cylinder: Cylinder,
    n: int,
    functions: tuple[Radial, Radial, Radial, Radial],
    flux_weight: tuple[complex, ...],
) -> Order:
    """Match value and weighted slope at every interface for a unit incident function outside."""
    first, second, first_slope, second_slope = functions
    count = len(cylinder.outer_radius_m)
    matrix = np.zeros((2 * count, 2 * count), dtype=np.complex128)
    right = np.zeros(2 * count, dtype=np.complex128)
    # Unknowns: first of layer 0; (first, second) of layers 1..L-1; second (outgoing) of the outside.
    for i, radius in enumerate(cylinder.outer_radius_m):
        r = np.array([radius])
        inner, outer = 2 * i - 1, 2 * i + 1
        for row, one, two, w_in, w_out in (
            (2 * i, first, second, 1.0, 1.0),
            (2 * i + 1, first_slope, second_slope, flux_weight[i], flux_weight[i + 1]),
        ):
            if i == 0:
                matrix[row, 0] = w_in * one(0, r)[0]
            else:
                matrix[row, inner] = w_in * one(i, r)[0]
                matrix[row, inner + 1] = w_in * two(i, r)[0]
            if i + 1 < count:
                matrix[row, outer] = -w_out * one(i + 1, r)[0]
                matrix[row, outer + 1] = -w_out * two(i + 1, r)[0]
            else:
                matrix[row, outer] = -w_out * two(count, r)[0]
                right[row] = w_out * one(count, r)[0]
    scale = np.max(np.abs(matrix), axis=1)
    x = np.linalg.solve(matrix / scale[:, None], right / scale)
    coefficients = np.zeros((count + 1, 2), dtype=np.complex128)
    coefficients[0, 0] = x[0]
    for i in range(1, count):
        coefficients[i] = x[2 * i - 1 : 2 * i + 1]
    coefficients[count] = (1.0, x[-1])
    return Order(cylinder, n, coefficients, first, second, first_slope, second_slope)


def _inner_radii(cylinder: Cylinder) -> tuple[float, ...]:
    """Radius where the second radial function of each layer, and of the outside, is scaled to 1.

    It is the layer's inner radius; the innermost layer has no second function and gets its outer radius.
    """
    return (cylinder.outer_radius_m[0], *cylinder.outer_radius_m)


def _outer_radii(cylinder: Cylinder) -> tuple[float, ...]:
    """Radius where the first radial function of each layer, and of the outside, is scaled to 1."""
    return (*cylinder.outer_radius_m, cylinder.outer_radius_m[-1])


def _powers(cylinder: Cylinder, n: int) -> tuple[Radial, Radial, Radial, Radial]:
    """rⁿ and r⁻ⁿ, scaled to 1 at the outer and the inner radius of their layer."""
    a, b = _inner_radii(cylinder), _outer_radii(cylinder)
    return (
        lambda i, r: ((r / b[i]) ** n).astype(np.complex128),
        lambda i, r: ((a[i] / r) ** n).astype(np.complex128),
        lambda i, r: (n / b[i] * (r / b[i]) ** (n - 1)).astype(np.complex128),
        lambda i, r: (-n / a[i] * (a[i] / r) ** (n + 1)).astype(np.complex128),
    )


def _waves(cylinder: Cylinder, n: int) -> tuple[Radial, Radial, Radial, Radial]:
    """J_n and Y_n inside the layers, J_n and H_n⁽²⁾ outside, scaled as the powers are."""
    k = [cylinder.wavenumber(y) for y in (*cylinder.admittivity, cylinder.outside)]
    outside = len(k) - 1
    a = [np.array([radius]) for radius in _inner_radii(cylinder)]
    b = [np.array([radius]) for radius in _outer_radii(cylinder)]

    def regular(order: int, i: int, r: Real) -> Complex:
        return np.asarray(jv(order, np.asarray(k[i] * r)), dtype=np.complex128)

    def singular(order: int, i: int, r: Real) -> Complex:
        x = np.asarray(k[i] * r)
        return np.asarray(hankel2(order, x) if i == outside else yv(order, x), dtype=np.complex128)

    def first(i: int, r: Real) -> Complex:
        return regular(n, i, r) / regular(n, i, b[i])

    def second(i: int, r: Real) -> Complex:
        return singular(n, i, r) / singular(n, i, a[i])

    def first_slope(i: int, r: Real) -> Complex:
        return k[i] * (regular(n - 1, i, r) - regular(n + 1, i, r)) / (2.0 * regular(n, i, b[i]))

    def second_slope(i: int, r: Real) -> Complex:
        return k[i] * (singular(n - 1, i, r) - singular(n + 1, i, r)) / (2.0 * singular(n, i, a[i]))

    return first, second, first_slope, second_slope


def quasi_static_order(cylinder: Cylinder, n: int) -> Order:
    """Order n ≥ 1 of ∇·(y∇φ) = 0, incident potential (r/R)ⁿ with R the outermost radius."""
    return _solve(cylinder, n, _powers(cylinder, n), (*cylinder.admittivity, cylinder.outside))


def transverse_wave_order(cylinder: Cylinder, n: int) -> Order:
    """Order n ≥ 0 of the full-wave H_z (E transverse to the axis), incident J_n(k₀r)/J_n(k₀R)."""
    media = (*cylinder.admittivity, cylinder.outside)
    return _solve(cylinder, n, _waves(cylinder, n), tuple(1.0 / y for y in media))


def axial_wave_order(cylinder: Cylinder, n: int) -> Order:
    """Order n ≥ 0 of the full-wave E_z (E along the axis), incident J_n(k₀r)/J_n(k₀R)."""
    return _solve(cylinder, n, _waves(cylinder, n), (1.0,) * (len(cylinder.admittivity) + 1))


def quasi_static_field(cylinder: Cylinder, n: int, radius_m: Real) -> tuple[Complex, Complex]:
    """(e_r, e_θ) [V/m] at radii (any shape) for an outside potential (r/R)ⁿ cos nθ, 1 V at R."""
    order = quasi_static_order(cylinder, n)
    r = np.asarray(radius_m, dtype=np.float64)
    return -order.slope(r), n * order.value(r) / r


def full_wave_field(cylinder: Cylinder, n: int, radius_m: Real) -> tuple[Complex, Complex]:
    """As `quasi_static_field`, from Maxwell's equations in full.

    The incident wave of order n is the regular one, H_z = −y₀ n!(2/k₀R)ⁿ J_n(k₀r) sin nθ · 1 V, whose
    electric field tends to that of the potential (r/R)ⁿ cos nθ when k₀ → 0. Near the axis its electric field
    is that of the potential and its magnetic field vanishes there: it is electrically driven, the case of
    panels. E = ∇×H / y.
    """
    order = transverse_wave_order(cylinder, n)
    r = np.asarray(radius_m, dtype=np.float64)
    y = np.asarray((*cylinder.admittivity, cylinder.outside), dtype=np.complex128)[cylinder.layer_of(r)]
    R = cylinder.outer_radius_m[-1]
    k0 = cylinder.wavenumber(cylinder.outside)
    bessel = complex(jv(n, np.asarray(k0 * R)))
    scale = -cylinder.outside * factorial(n) * (2.0 / (k0 * R)) ** n * bessel
    return n * scale * order.value(r) / (y * r), -scale * order.slope(r) / y


def axial_magnetic_field(cylinder: Cylinder, radius_m: Real) -> Complex:
    """e_θ [V/m] induced at radii (any shape) by a uniform axial magnetic field of 1 A/m outside (order 0)."""
    order = transverse_wave_order(cylinder, 0)
    r = np.asarray(radius_m, dtype=np.float64)
    y = np.asarray((*cylinder.admittivity, cylinder.outside), dtype=np.complex128)[cylinder.layer_of(r)]
    return -order.slope(r) / y


def layer_losses(cylinder: Cylinder, mean_square: Callable[[Real], Real]) -> Real:
    """Loss per layer and metre of length [W/m], (L,): 2π ∫ σ·`mean_square`(r) r dr, 24-point Gauss per layer.

    `mean_square` gives the mean of |E|² [V²/m²] around the circle of radius r, shape of r.
    """
    node, weight = np.polynomial.legendre.leggauss(24)
    bounds = np.array([0.0, *cylinder.outer_radius_m])
    loss = np.empty(len(cylinder.admittivity))
    for i, y in enumerate(cylinder.admittivity):
        half = (bounds[i + 1] - bounds[i]) / 2.0
        r = bounds[i] + half * (node + 1.0)
        loss[i] = 2.0 * pi * y.real * half * float(np.sum(weight * mean_square(r) * r))
    return loss


@dataclass(frozen=True)
class Efficiencies:
    """Extinction and scattering cross-section per diameter of a plane wave at normal incidence [-]."""

    extinction: float
    scattering: float


def plane_wave_efficiencies(
    cylinder: Cylinder, *, electric_field_along_axis: bool, orders: int
) -> Efficiencies:
    """Efficiencies of a plane wave: (2/x) Re Σ' b_n and (2/x) Σ' |b_n|², with Σ' over n = −orders..orders.

    C. F. Bohren, D. R. Huffman, *Absorption and Scattering of Light by Small Particles*, 1983, eq. 8.36-8.37;
    b_n is minus the ratio of the outgoing to the incident amplitude. The outside must be lossless.
    """
    R = cylinder.outer_radius_m[-1]
    x = abs(cylinder.wavenumber(cylinder.outside)) * R
    solve = axial_wave_order if electric_field_along_axis else transverse_wave_order
    extinction = scattering = 0.0
    for n in range(orders + 1):
        b = -solve(cylinder, n).coefficients[-1, 1] * jv(n, x) / hankel2(n, x)
        weight = 1.0 if n == 0 else 2.0
        extinction += weight * float(b.real)
        scattering += weight * float(abs(b)) ** 2
    return Efficiencies(2.0 / x * extinction, 2.0 / x * scattering)
