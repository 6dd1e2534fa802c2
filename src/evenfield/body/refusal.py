"""How bad input is refused: one clear sentence, with the key, the value and what is allowed.

The base of `MeasurementError` (body), `PlacementError` (applicator) and `CaseError` (case file). Keys are
named as in the case file (`region.girth_mm[0]`, `panel[1].gap_mm`) and values stand in the file's units (mm,
degrees), because whoever reads the sentence is looking at that file or at a form with the same fields.
"""


class InputError(ValueError):
    """Input that cannot be used. `str()` is the whole sentence.

    Attributes: `key` names the entry, `value` is what was given (None if it is missing), `allowed` says what
    may stand there.
    """

    def __init__(self, sentence: str, *, key: str, value: object = None, allowed: str = "") -> None:
        super().__init__(sentence)
        self.key = key
        self.value = value
        self.allowed = allowed


class MeasurementError(InputError):
    """Measurements that do not describe a body region."""
