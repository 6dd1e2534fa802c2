"""What is to be measured in one set: region, side, protocols, levels, weight."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import floor, isfinite
from urllib.parse import urlencode

from evenfield.body import DIRECTIONS, RegionKind
from evenfield.clinic.measuring.protocols import Protocol, Protocols, Quantity
from evenfield.clinic.measuring.units import TypedUnit, unit_of

MOST_LEVELS = 6
_FURTHEST_MM = 400.0
TRUNK_DIRECTIONS = {"inner": "left", "outer": "right"}  # as in a case file: on the trunk inner is left
REGION_WORDS = {
    RegionKind.ABDOMEN: "abdomen",
    RegionKind.FLANK: "flank",
    RegionKind.THIGH: "thigh",
    RegionKind.ABOVE_KNEE: "above the knee",
    RegionKind.UPPER_ARM: "upper arm",
    RegionKind.CALF: "calf",
}


class PlanError(ValueError):
    """What is asked for cannot be measured so; one sentence."""


def sides_of(region: RegionKind | None) -> tuple[str, ...]:
    """The sides between which one must choose; none where there is only one."""
    return () if region in (None, RegionKind.ABDOMEN) else ("left", "right")


def place_words(region: RegionKind | None, side: str) -> str:
    """The region with its side, "" for weight alone."""
    return "" if region is None else f"{side} {REGION_WORDS[region]}".strip()


def level_words(level_mm: float, length_unit: str) -> str:
    """A distance from the landmark in words."""
    if level_mm == 0:
        return "at the landmark"
    unit = unit_of(Quantity.GIRTH, length_unit)
    return f"{unit.show(abs(level_mm) * 1e-3)} {'above' if level_mm > 0 else 'below'} the landmark"


def direction_words(direction: str, region: RegionKind | None) -> str:
    """The direction as people say it for this region."""
    return TRUNK_DIRECTIONS.get(direction, direction) if region and region.trunk else direction


def place_in_words(
    quantity: Quantity, level_mm: float | None, direction: str, region: RegionKind | None, length_unit: str
) -> str:
    """What is measured where within its region: "Girth, 8.0 cm above the landmark"."""
    if level_mm is None:
        return "Weight"
    what = "Girth" if quantity is Quantity.GIRTH else f"Fat {direction_words(direction, region)}"
    return f"{what}, {level_words(level_mm, length_unit)}"


def key_in_words(key: str, region: RegionKind | None, length_unit: str) -> str:
    """The words of a line's key as kept in a set."""
    quantity, _, where = key.partition("_")
    level, _, direction = where.partition("_")
    level_mm = float(level) if level else None
    return place_in_words(Quantity(quantity), level_mm, direction, region, length_unit)


@dataclass(frozen=True)
class EntryLine:
    """One number to measure: its key, words, protocol, and unit as typed."""

    key: str
    words: str
    protocol: Protocol
    unit: TypedUnit
    level_mm: float | None = None
    direction: str = ""

    @property
    def quantity(self) -> Quantity:
        """What it is."""
        return self.protocol.quantity


@dataclass(frozen=True)
class SetPlan:
    """One set of measurements."""

    region: RegionKind | None
    side: str
    girth: Protocol | None
    levels_mm: tuple[float, ...]
    fat: Protocol | None
    fat_levels_mm: tuple[float, ...]
    weight: Protocol | None
    length_unit: str

    @property
    def protocols(self) -> tuple[Protocol, ...]:
        """Those used."""
        return tuple(one for one in (self.girth, self.fat, self.weight) if one)

    @property
    def place(self) -> str:
        """Where, in words."""
        return place_words(self.region, self.side) or "weight"

    def lines(self) -> tuple[EntryLine, ...]:
        """Every number to measure, girths from the top down, then fat, then weight."""
        return tuple(self._lines())

    def _lines(self) -> Iterator[EntryLine]:
        if self.girth:
            unit = unit_of(Quantity.GIRTH, self.length_unit)
            for level in reversed(self.levels_mm):
                words = place_in_words(Quantity.GIRTH, level, "", self.region, self.length_unit)
                yield EntryLine(f"girth_{level:g}", words, self.girth, unit, level)
        if self.fat:
            unit = unit_of(Quantity.FAT, self.length_unit)
            for level in reversed(self.fat_levels_mm):
                for direction in DIRECTIONS:
                    words = place_in_words(Quantity.FAT, level, direction, self.region, self.length_unit)
                    yield EntryLine(f"fat_{level:g}_{direction}", words, self.fat, unit, level, direction)
        if self.weight:
            yield EntryLine("weight", "Weight", self.weight, unit_of(Quantity.WEIGHT, self.length_unit))

    def query(self) -> str:
        """The plan as the query of an address; read by `read_plan`."""
        asked = {
            "region": self.region or "",
            "side": self.side,
            "girth": self.girth.id if self.girth else "",
            "levels": _joined(self.levels_mm) if self.girth else "",
            "fat": self.fat.id if self.fat else "",
            "fat_levels": _joined(self.fat_levels_mm) if self.fat else "",
            "weight": "1" if self.weight else "",
        }
        return urlencode({name: value for name, value in asked.items() if value})


def read_plan(asked: Mapping[str, str], protocols: Protocols, length_unit: str) -> SetPlan:
    """The plan that an address asks for; levels in mm, those of the protocol if none are given.

    Raises PlanError.
    """
    word = asked.get("region", "")
    if word and word not in set(RegionKind):
        raise PlanError(f"The region {word!r} is not known: allowed are {', '.join(RegionKind)}.")
    region = RegionKind(word) if word else None
    side = asked.get("side", "")
    sides = sides_of(region)
    if side and not sides:
        where = f"The {REGION_WORDS[region]} has" if region else "Weight has"
        raise PlanError(f"{where} no side: choose None.")
    if sides and side not in sides:
        raise PlanError(f"Choose the side: {' or '.join(sides)}.")
    girth = _protocol(asked.get("girth", ""), Quantity.GIRTH, protocols)
    fat = _protocol(asked.get("fat", ""), Quantity.FAT, protocols)
    if girth and girth.region is not region:
        wanted = REGION_WORDS[girth.region] if girth.region else ""
        raise PlanError(
            f"The protocol “{girth.name}” is for the {wanted}: choose that region or another protocol."
        )
    if fat and region is None:
        raise PlanError("Choose the region in which fat is measured.")
    weights = protocols.of(Quantity.WEIGHT)
    weight = weights[0] if asked.get("weight") and weights else None
    if not (girth or fat or weight):
        raise PlanError("Choose at least one thing to measure: girths, fat or weight.")
    return SetPlan(
        region=region if girth or fat else None,
        side=side if girth or fat else "",
        girth=girth,
        levels_mm=_levels(asked.get("levels", ""), girth, length_unit),
        fat=fat,
        fat_levels_mm=_levels(asked.get("fat_levels", ""), fat, length_unit),
        weight=weight,
        length_unit=length_unit,
    )


def _protocol(protocol_id: str, quantity: Quantity, protocols: Protocols) -> Protocol | None:
    if not protocol_id:
        return None
    found = protocols.by_id(protocol_id)
    if found is None or found.quantity is not quantity:
        raise PlanError(f"There is no protocol {protocol_id!r} for {quantity} (any more): choose another.")
    return found


def _levels(text: str, protocol: Protocol | None, length_unit: str) -> tuple[float, ...]:
    if protocol is None:
        return ()
    if not text:
        return protocol.levels_mm
    try:
        given = sorted({round(float(part), 1) for part in text.split(",")})
    except ValueError:
        given = []
    near = all(isfinite(one) and abs(one) <= _FURTHEST_MM for one in given)
    if not near or not 1 <= len(given) <= MOST_LEVELS:
        unit = unit_of(Quantity.GIRTH, length_unit)
        furthest = floor(_FURTHEST_MM * 1e-2 / unit.size) / 10  # rounded down: what is told is allowed
        raise PlanError(
            f"Levels are 1 to {MOST_LEVELS} distances from the landmark, {furthest:g} {unit.word} at most."
        )
    return tuple(one + 0.0 for one in given)  # no minus zero


def _joined(levels_mm: tuple[float, ...]) -> str:
    return ",".join(f"{level:g}" for level in levels_mm)
