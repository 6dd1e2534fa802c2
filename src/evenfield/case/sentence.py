"""One clear sentence for a file that is not TOML, or has a wrong key or a wrong type."""

import re
import tomllib
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from evenfield.case.model import CaseError
from evenfield.case.schema import CaseFile

_PERSON = {"client", "name", "patient", "person", "birthday", "date_of_birth"}
_MISSING = {
    "region": "write [region] with kind and girth_mm",
    "region.kind": 'name the part of the body, e.g. kind = "upper_arm"',
    "region.girth_mm": "give the measured girth at each level in mm, e.g. girth_mm = [290, 300, 315]",
    "panel": "write at least one [[panel]]",
}
_ORDER = ("extra_forbidden", "missing")


def toml_error(error: tomllib.TOMLDecodeError) -> CaseError:
    """The syntax error with its line."""
    told = re.sub(r"\s+", " ", str(error))
    return CaseError(f"this is not valid TOML: {told[:1].lower()}{told[1:]}", key="", allowed="valid TOML")


def type_error(error: ValidationError) -> CaseError:
    """The first and most basic of pydantic's findings: unknown key, then missing key, then wrong type."""

    def rank(found: Any) -> tuple[int, int]:
        kind = found["type"]
        return (_ORDER.index(kind) if kind in _ORDER else len(_ORDER)), len(found["loc"])

    found = min(error.errors(include_url=False), key=rank)
    place = tuple(found["loc"])
    key = _key(place)
    match found["type"]:
        case "extra_forbidden":
            return _unknown(place, found["input"])
        case "missing":
            hint = _MISSING.get(key, "give it")
            return CaseError(f"{key} is missing: {hint}", key=key, allowed=hint)
        case "finite_number":
            allowed = "a finite number"
        case "float_type":
            allowed = "a number"
        case "string_type":
            allowed = "text in quotes"
        case "literal_error":
            allowed = found["ctx"]["expected"].replace("'", '"')
        case "list_type" if key in ("panel", "session.steps"):
            allowed = "written as [[panel]], with two brackets" if key == "panel" else "a list of tables"
        case "list_type":
            allowed = "a list of numbers in square brackets"
        case _:
            allowed = "a table"
    return CaseError(
        f"{key} = {_shown(found['input'])}: must be {allowed}", key=key, value=found["input"], allowed=allowed
    )


def _unknown(place: tuple[int | str, ...], value: object) -> CaseError:
    key, last = _key(place), str(place[-1])
    section = ".".join(str(part) for part in place[:-1] if isinstance(part, str))
    allowed = sorted(_keys_at(place[:-1]))
    near = get_close_matches(last, allowed, n=1, cutoff=0.6)
    elsewhere = [where for where, model in _sections() if last in model.model_fields and where != section]
    if elsewhere:
        hint = f"it belongs in {elsewhere[0]}"
    elif near:
        hint = f"did you mean {near[0]}?"
    elif len(place) == 1 and last in _PERSON:
        hint = "a case file holds nobody's name, only a title"
    else:
        hint = f"allowed here: {', '.join(allowed)}"
    return CaseError(f"unknown key {key}: {hint}", key=key, value=value, allowed=", ".join(allowed))


def _sections() -> list[tuple[str, type[BaseModel]]]:
    found = []
    for name in CaseFile.model_fields:
        model = _model_at(CaseFile, name)
        if model is not None:
            found.append((f"[[{name}]]" if name == "panel" else f"[{name}]", model))
    return found


def _keys_at(place: tuple[int | str, ...]) -> list[str]:
    model: type[BaseModel] = CaseFile
    for part in place:
        if isinstance(part, str):
            model = _model_at(model, part) or model
    return list(model.model_fields)


def _model_at(model: type[BaseModel], name: str) -> type[BaseModel] | None:
    """The section under a key: itself, in a list, or with None beside it."""
    waiting = [model.model_fields[name].annotation]
    while waiting:
        kind = waiting.pop()
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
        waiting.extend(get_args(kind))
    return None


def _key(place: tuple[int | str, ...]) -> str:
    """`("panel", 0, "gap_mm")` as `panel[0].gap_mm`."""
    text = ""
    for part in place:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    text = f'"{value}"' if isinstance(value, str) else str(value)
    text = re.sub(r"\s+", " ", text)
    return text if len(text) <= 60 else f"{text[:57]}..."
