"""The matching circuit between a 50 ohm source and the panels, in closed form.

    source — shunt capacitor — series capacitor — coil — two cables (a two-wire line) — panels

Both capacitors are variable within their ranges: a two-element L network. The coil loses ωL/Q, the cables
lose in copper and insulation, the capacitors nothing. What is assumed and what was measured:
docs/matching.md. rms amplitudes, time factor exp(+jωt).
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace

from scipy.constants import epsilon_0, mu_0

from evenfield.tissue import FREQUENCY_HZ

OMEGA = 2.0 * math.pi * FREQUENCY_HZ


@dataclass(frozen=True)
class Range:
    """The least and the most a variable element can be set to."""

    least: float
    most: float

    def nearest(self, wanted: float) -> float:
        """The value within the range that is nearest to the one wanted."""
        return min(max(wanted, self.least), self.most)


@dataclass(frozen=True)
class TwoWireLine:
    """Two parallel insulated wires. Lengths in m, `spacing_m` between the wires' middles.

    Resistance, inductance, capacitance and conductance per metre: D. M. Pozar, Microwave Engineering, table
    of two-wire line parameters (M), for a spacing well above the diameter. Copper loss by skin effect,
    times (D/d)/√((D/d)²−1) because the currents crowd on facing sides (S. Ramo, J. Whinnery, T. Van Duzer,
    Fields and Waves, M). Insulation is a capacitance in series with that of the air: exact as long as its
    surface is nearly an equipotential, so only fair for touching wires.
    """

    length_m: float
    wire_m: float
    insulation_m: float
    permittivity: float
    loss_tangent: float
    conductivity_s_m: float
    spacing_m: float

    def per_metre(self) -> tuple[float, float, float, float]:
        """Resistance (Ω/m), inductance (H/m), conductance (S/m) and capacitance (F/m) at 27.12 MHz."""
        ratio = self.spacing_m / self.wire_m
        whole = math.acosh(ratio)
        coat = math.log(self.insulation_m / self.wire_m)
        remaining = whole - coat * (1.0 - 1.0 / self.permittivity)
        surface_ohm = math.sqrt(OMEGA * mu_0 / (2.0 * self.conductivity_s_m))
        resistance = 2.0 * surface_ohm / (math.pi * self.wire_m) * ratio / math.sqrt(ratio**2 - 1.0)
        capacitance = math.pi * epsilon_0 / remaining
        in_coat = coat / self.permittivity / remaining
        conductance = OMEGA * capacitance * self.loss_tangent * in_coat
        return resistance, mu_0 / math.pi * whole, conductance, capacitance

    def characteristic_ohm(self) -> complex:
        """Wave impedance of the line, Ω."""
        r, ind, g, c = self.per_metre()
        return cmath.sqrt(complex(r, OMEGA * ind) / complex(g, OMEGA * c))

    def propagation(self) -> complex:
        """Propagation constant times length: loss in neper, angle in rad."""
        r, ind, g, c = self.per_metre()
        return cmath.sqrt(complex(r, OMEGA * ind) * complex(g, OMEGA * c)) * self.length_m

    def seen(self, load_ohm: complex) -> tuple[complex, float]:
        """Impedance (Ω) at the near end with that load at the far one, and the share of power that
        arrives."""
        z, angle = self.characteristic_ohm(), self.propagation()
        cosh, sinh = cmath.cosh(angle), cmath.sinh(angle)
        current = cosh + load_ohm / z * sinh
        near = (load_ohm * cosh + z * sinh) / current
        return near, load_ohm.real / (near.real * abs(current) ** 2)


@dataclass(frozen=True)
class Circuit:
    """One device with one lay of its cables; ohm, henry, farad."""

    source_ohm: float
    shunt_f: Range
    series_f: Range
    coil_h: float
    coil_q: float
    cables: TwoWireLine


@dataclass(frozen=True)
class Match:
    """The circuit at one setting of its two capacitors.

    `reflection`: Γ at the source. `tuning_percent`: 100·(1 − |Γ|²). `load_share`, `cable_share`,
    `coil_share`: of the power let through, what the panels' load, the cables and the coil take; they add up
    to 1. `resistance_ohm`, `reactance_ohm`: of the series branch. `at_end`: the capacitors that stand at an
    end of their range, as "shunt least", "shunt most", "series least", "series most".
    """

    shunt_f: float
    series_f: float
    reflection: complex
    tuning_percent: float
    load_share: float
    cable_share: float
    coil_share: float
    resistance_ohm: float
    reactance_ohm: float
    at_end: tuple[str, ...]


def _load_ohm(admittance_s: complex) -> complex:
    if not (cmath.isfinite(admittance_s) and admittance_s.real > 0.0 and admittance_s.imag > 0.0):
        raise ValueError(
            f"admittance between the panels is {admittance_s.real:g} {admittance_s.imag:+g}j S; "
            "allowed: conductance and susceptance both above 0"
        )
    return 1.0 / admittance_s


@dataclass(frozen=True)
class _Branch:
    """Cables and coil in series, whatever the capacitors: Ω, and where its power goes."""

    resistance_ohm: float
    reactance_ohm: float
    load_share: float
    cable_share: float
    coil_share: float


def _branch(circuit: Circuit, admittance_s: complex) -> _Branch:
    near, arrives = circuit.cables.seen(_load_ohm(admittance_s))
    coil_ohm = OMEGA * circuit.coil_h / circuit.coil_q
    resistance = near.real + coil_ohm
    into_cables = near.real / resistance
    return _Branch(
        resistance_ohm=resistance,
        reactance_ohm=near.imag + OMEGA * circuit.coil_h,
        load_share=into_cables * arrives,
        cable_share=into_cables * (1.0 - arrives),
        coil_share=coil_ohm / resistance,
    )


def load_share(circuit: Circuit, admittance_s: complex) -> float:
    """Share of the power let through that reaches the panels' load: the same at every setting of the
    capacitors. Raises ValueError unless the load is a lossy capacitor."""
    return _branch(circuit, admittance_s).load_share


def at_setting(circuit: Circuit, admittance_s: complex, shunt_f: float, series_f: float) -> Match:
    """The circuit with its capacitors set to these values in F. Raises ValueError unless the load is a lossy
    capacitor."""
    return _set(circuit, _branch(circuit, admittance_s), shunt_f, series_f)


def _set(circuit: Circuit, branch: _Branch, shunt_f: float, series_f: float) -> Match:
    impedance = complex(branch.resistance_ohm, branch.reactance_ohm - 1.0 / (OMEGA * series_f))
    relative = circuit.source_ohm * (1j * OMEGA * shunt_f + 1.0 / impedance)
    # 4g/|1 + y|² is 1 − |Γ|² without the cancellation when nearly all is reflected
    through = 4.0 * relative.real / abs(1.0 + relative) ** 2
    return Match(
        shunt_f=shunt_f,
        series_f=series_f,
        reflection=(1.0 - relative) / (1.0 + relative),
        tuning_percent=min(100.0 * through, 100.0),
        load_share=branch.load_share,
        cable_share=branch.cable_share,
        coil_share=branch.coil_share,
        resistance_ohm=impedance.real,
        reactance_ohm=impedance.imag,
        at_end=_at_end(circuit, shunt_f, series_f),
    )


def _at_end(circuit: Circuit, shunt_f: float, series_f: float) -> tuple[str, ...]:
    out = []
    for name, value, span in (("shunt", shunt_f, circuit.shunt_f), ("series", series_f, circuit.series_f)):
        for end, bound in (("least", span.least), ("most", span.most)):
            if math.isclose(value, bound, rel_tol=1e-9):
                out.append(f"{name} {end}")
    return tuple(out)


def best_match(circuit: Circuit, admittance_s: complex) -> Match:
    """The best setting within both ranges. Raises ValueError unless the load is a lossy capacitor.

    With one capacitor fixed, what is let through has one maximum in the other, so the nearest value in range
    is the best. Inside the ranges the only maximum is the full match. So the best of the full match and the
    four edges is the best of all (docs/matching.md).
    """
    branch = _branch(circuit, admittance_s)
    resistance, inductive, source = branch.resistance_ohm, branch.reactance_ohm, circuit.source_ohm

    def series_for(shunt_f: float) -> float:
        """The series capacitor that makes the branch resonate with the source and this shunt capacitor."""
        q = OMEGA * shunt_f * source
        return _series_capacitor(circuit, inductive - source * q / (1.0 + q * q))

    def shunt_for(series_f: float) -> float:
        """The shunt capacitor that takes up the susceptance left with this series capacitor."""
        x = inductive - 1.0 / (OMEGA * series_f)
        return circuit.shunt_f.nearest(x / (resistance**2 + x**2) / OMEGA)

    settings = [(c, series_for(c)) for c in (circuit.shunt_f.least, circuit.shunt_f.most)]
    settings += [(shunt_for(c), c) for c in (circuit.series_f.least, circuit.series_f.most)]
    if resistance <= source:
        exact = circuit.shunt_f.nearest(math.sqrt(source / resistance - 1.0) / (OMEGA * source))
        settings.append((exact, series_for(exact)))
    matches = [_set(circuit, branch, *setting) for setting in settings]
    return max(matches, key=lambda match: match.tuning_percent)


def _series_capacitor(circuit: Circuit, reactance_ohm: float) -> float:
    """The capacitor whose reactance comes nearest to −reactance_ohm."""
    if reactance_ohm <= 0.0:
        return circuit.series_f.most
    return circuit.series_f.nearest(1.0 / (OMEGA * reactance_ohm))


def stuck_match(circuit: Circuit, admittance_s: complex) -> Match:
    """The best with the series capacitor left at either end stop, as when a tuner has run to its end."""
    ends = (circuit.series_f.least, circuit.series_f.most)
    matches = [best_match(replace(circuit, series_f=Range(end, end)), admittance_s) for end in ends]
    return max(matches, key=lambda match: match.tuning_percent)
