"""People near the field: published limits and published distances at 27.12 MHz, as data.

Nothing here computes a distance. The stray field depends on how the cables lie and on metal near by, which a
model of the client does not know: the caution of every forecast names the farthest published distances, the
device manual's where it is larger, and a survey meter (docs/decisions/0176). Field strengths are rms.
"""

from dataclasses import dataclass
from enum import StrEnum

from evenfield.tissue import Label


class Exposed(StrEnum):
    """Whom a limit or a distance is meant for."""

    WORKER = "worker"
    PUBLIC = "public"


@dataclass(frozen=True)
class ReferenceLevel:
    """A published reference level at 27.12 MHz: electric [V/m rms] and magnetic [A/m rms] field.

    The label is the weaker one of the two figures (the electric level of ICNIRP 1998 for workers is P).
    """

    rule: str
    exposed: Exposed
    electric_v_m: float
    magnetic_a_m: float
    formula: str
    source: str
    label: Label


@dataclass(frozen=True)
class PublishedDistance:
    """A distance [m] at which measured stray fields of continuous capacitive units fell below the limits."""

    distance_m: float
    exposed: Exposed
    source: str
    label: Label


_ICNIRP_2020 = "ICNIRP, Health Phys 118:483-524 (2020)"
_ICNIRP_1998 = "ICNIRP, Health Phys 74:494-522 (1998)"

REFERENCE_LEVELS: tuple[ReferenceLevel, ...] = (
    ReferenceLevel(
        "ICNIRP 2020, local",
        Exposed.WORKER,
        149.3,
        0.398,
        "E 1504/f^0.7, H 10.8/f, f in MHz",
        f"{_ICNIRP_2020}, reference levels for local exposure averaged over 6 min",
        Label.P,
    ),
    ReferenceLevel(
        "ICNIRP 2020, local",
        Exposed.PUBLIC,
        66.6,
        0.181,
        "E 671/f^0.7, H 4.9/f, f in MHz",
        f"{_ICNIRP_2020}, reference levels for local exposure averaged over 6 min",
        Label.P,
    ),
    ReferenceLevel(
        "ICNIRP 2020, whole body",
        Exposed.WORKER,
        65.5,
        0.181,
        "E 660/f^0.7, H 4.9/f, f in MHz",
        f"{_ICNIRP_2020}, reference levels for whole-body exposure averaged over 30 min",
        Label.M,
    ),
    ReferenceLevel(
        "ICNIRP 2020, whole body",
        Exposed.PUBLIC,
        29.8,
        0.081,
        "E 300/f^0.7, H 2.2/f, f in MHz",
        f"{_ICNIRP_2020}, reference levels for whole-body exposure averaged over 30 min",
        Label.M,
    ),
    ReferenceLevel(
        "ICNIRP 1998", Exposed.WORKER, 61.0, 0.16, "constant from 10 to 400 MHz", _ICNIRP_1998, Label.M
    ),
    ReferenceLevel(
        "ICNIRP 1998", Exposed.PUBLIC, 28.0, 0.073, "constant from 10 to 400 MHz", _ICNIRP_1998, Label.M
    ),
)

_SHIELDS = "Shields et al., Phys Med Biol 49:2999 (2004)"

PUBLISHED_DISTANCES: tuple[PublishedDistance, ...] = (
    PublishedDistance(2.0, Exposed.WORKER, _SHIELDS, Label.P),
    PublishedDistance(2.5, Exposed.PUBLIC, _SHIELDS, Label.P),  # the operator's and 0.5 m more
    PublishedDistance(1.2, Exposed.WORKER, "Karpowicz (2013)", Label.P),
    PublishedDistance(1.5, Exposed.PUBLIC, "Karpowicz (2013)", Label.P),
)


def farthest(exposed: Exposed) -> PublishedDistance:
    """The most cautious of the published distances."""
    return max((one for one in PUBLISHED_DISTANCES if one.exposed is exposed), key=lambda one: one.distance_m)


def distance_words() -> str:
    """The farthest distances with their source, for a caution."""
    operator, others = farthest(Exposed.WORKER), farthest(Exposed.PUBLIC)
    sources = "; ".join(dict.fromkeys((operator.source, others.source)))
    return f"{operator.distance_m:g} m for the operator and {others.distance_m:g} m for others ({sources})"
