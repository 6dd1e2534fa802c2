"""A preview in a file and back: one archive of plain arrays, its base case as a case file's text."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any, TypeVar, get_type_hints

import numpy as np

from evenfield.case import CaseError, case_from_toml, case_to_toml
from evenfield.heat.reduced import ReducedHeat
from evenfield.tolerance.answer import PreviewError
from evenfield.tolerance.learned import Kriging
from evenfield.tolerance.outcome import PlacementOutcome
from evenfield.tolerance.preview import WhatIfPreview

T = TypeVar("T")
FORM = 1
"""Form of the file; a file of another form is refused."""
_PARTS: Mapping[str, type] = {
    "base": PlacementOutcome,
    "learned": Kriging,
    "reduced": ReducedHeat,
    "error": PreviewError,
}


class PreviewFileError(ValueError):
    """A file that holds no preview of this form; one clear sentence."""


def save(preview: WhatIfPreview, path: Path) -> None:
    """Write a preview to an .npz file."""
    arrays: dict[str, Any] = {"form": FORM, "case": case_to_toml(preview.case)}
    for name in _PARTS:
        arrays.update(_flat(name, getattr(preview, name)))
    with path.open("wb") as file:
        np.savez(file, **arrays)


def load(path: Path) -> WhatIfPreview:
    """Read a preview. Raises PreviewFileError for a file that is none, OSError where it cannot be read."""
    try:
        with np.load(path, allow_pickle=False) as arrays:
            if int(arrays["form"]) != FORM:
                raise PreviewFileError(f"{path}: form {int(arrays['form'])} of a preview; allowed: {FORM}")
            case = case_from_toml(str(arrays["case"]), str(path))
            parts: dict[str, Any] = {name: _made(kind, name, arrays) for name, kind in _PARTS.items()}
    except (KeyError, TypeError, EOFError, zipfile.BadZipFile, CaseError) as error:
        raise PreviewFileError(f"{path}: this is no preview ({error})") from error
    except ValueError as error:
        if isinstance(error, PreviewFileError):
            raise
        raise PreviewFileError(f"{path}: this is no preview ({error})") from error
    preview = WhatIfPreview(case, **parts)
    nk, nj, _ = preview.frame.grid.shape
    body = preview.frame.grid.skin_node
    told = preview.learned.mean.size, preview.reduced.start_c.shape
    if told != ((nk - 1) * nj * body + 2, (nk, nj, body + 1)):
        raise PreviewFileError(f"{path}: built on another grid than this version's; build the preview anew")
    return preview


def _flat(name: str, value: Any) -> Iterator[tuple[str, Any]]:
    for field in fields(value):
        part = getattr(value, field.name)
        if is_dataclass(part):
            yield from _flat(f"{name}.{field.name}", part)
        else:
            yield f"{name}.{field.name}", np.asarray(part)


def _made(kind: type[T], name: str, arrays: Mapping[str, Any]) -> T:
    hints = get_type_hints(kind)
    made: dict[str, Any] = {}
    for field in fields(kind):  # type: ignore[arg-type]
        hint, key = hints[field.name], f"{name}.{field.name}"
        if is_dataclass(hint):
            made[field.name] = _made(hint, key, arrays)  # type: ignore[arg-type]
        elif hint in (float, int, str, complex):
            made[field.name] = hint(arrays[key][()])
        elif getattr(hint, "__origin__", None) is tuple:
            made[field.name] = tuple(arrays[key].tolist())
        else:
            made[field.name] = arrays[key]
    return kind(**made)
