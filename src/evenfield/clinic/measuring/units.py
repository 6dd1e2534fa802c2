"""Numbers as people type and read them: centimetres or inches, millimetres, kilograms or pounds."""

import re
from dataclasses import dataclass
from fractions import Fraction

from evenfield.clinic.measuring.protocols import Quantity

_NUMBER = re.compile(r"[0-9]{1,4}(?:[.,][0-9]{1,3})?")
_FRACTION = re.compile(r"([0-9]{1,3})\s+([0-9]{1,2})/([0-9]{1,2})")
_SMALLEST = 1e-5  # metres or kilograms: less is zero


class TypedError(ValueError):
    """What was typed is no number; one sentence."""


@dataclass(frozen=True)
class TypedUnit:
    """A unit on the screen.

    Attributes:
        word: as written behind a number.
        size: one of it in SI (m or kg).
        decimals: digits shown after the point.
    """

    word: str
    size: float
    decimals: int

    def read(self, typed: str) -> float:
        """SI value of typed text: point or comma before decimals; inches also as `24 1/2`.

        Raises TypedError.
        """
        text = typed.strip()
        if _NUMBER.fullmatch(text):
            number = float(text.replace(",", "."))
        elif self is INCH and (parts := _FRACTION.fullmatch(text)) and 0 < int(parts[2]) < int(parts[3]):
            number = int(parts[1]) + float(Fraction(int(parts[2]), int(parts[3])))
        else:
            raise TypedError(f"“{text}” is not a number such as 61.2 or 61,2.")
        value = round(number * self.size, 7)
        if value < _SMALLEST:
            raise TypedError("This must be above zero.")
        return value

    def show(self, value: float) -> str:
        """A value in SI with this unit."""
        return f"{self.number(value)} {self.word}"

    def number(self, value: float) -> str:
        """A value in SI without the unit."""
        return f"{value / self.size:.{self.decimals}f}"


CM = TypedUnit("cm", 0.01, 1)
INCH = TypedUnit("in", 0.0254, 2)
MM = TypedUnit("mm", 0.001, 1)
KG = TypedUnit("kg", 1.0, 1)
POUND = TypedUnit("lb", 0.45359237, 1)


def unit_of(quantity: Quantity, length_unit: str) -> TypedUnit:
    """The unit in which a clinic types a quantity; fat thickness is in millimetres everywhere."""
    inches = length_unit == "in"
    if quantity is Quantity.FAT:
        return MM
    if quantity is Quantity.WEIGHT:
        return POUND if inches else KG
    return INCH if inches else CM
