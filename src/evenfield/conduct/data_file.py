"""Data that a clinic may write anew, as TOML: a closed model of it, and its first fault in one sentence."""

from __future__ import annotations

import tomllib
from importlib import resources
from typing import TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError


class DataEntry(BaseModel):
    """A table of such a file: unknown keys are faults, and nothing changes it once read."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


Entry = TypeVar("Entry", bound=DataEntry)


def shipped_text(name: str) -> str:
    """The text of a file in `conduct/data`."""
    return (resources.files("evenfield.conduct") / "data" / name).read_text(encoding="utf-8")


def read_data(model: type[Entry], text: str, *, what: str, where: str, refused: type[ValueError]) -> Entry:
    """The data in TOML text. Raises `refused` with one sentence: `what` it is, `where` it is, the fault."""
    try:
        return model.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise refused(f"{what} {where}: not TOML: {error}") from None
    except ValidationError as error:
        raise refused(f"{what} {where}: {first_fault(error, what)}") from None


def first_fault(error: ValidationError, whole: str, *, with_value: bool = False) -> str:
    """The first fault as "key: what is wrong"; `whole` where no single key is at fault. `with_value`: what
    was given stands behind the key, unless it is a table."""
    first = error.errors(include_url=False, include_context=False)[0]
    key = ".".join(str(part) for part in first["loc"]) or whole
    shown = with_value and not isinstance(first["input"], (dict, BaseModel))
    given = f" = {first['input']!r}" if shown else ""
    return f"{key}{given}: {first['msg'].removeprefix('Value error, ')}"
