"""What a command writes: a folder of results, and the JSON in a file of its own or on the screen."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from evenfield.cli.draft import draft
from evenfield.cli.refused import RefusedError


def document_text(document: dict[str, Any] | list[dict[str, Any]]) -> str:
    """A JSON document as text; refuses to write what is not a number (ValueError)."""
    import json

    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


@dataclass
class Written:
    """Drafts of what was asked for, and in `files` what they will be called.

    `folder`: where files of the folder asked for are to be written now, None if none was asked for.
    """

    folder: Path | None
    to_screen: bool
    files: list[Path] = field(default_factory=list)
    _out: Path | None = None
    _json: tuple[Path, Path] | None = None

    def add(self, *names: str) -> None:
        """These files were written into the folder."""
        if self._out is not None:
            self.files += [self._out / name for name in names]

    def document(self, text: str) -> None:
        """Write the JSON where a file of its own was asked for."""
        if self._json is not None:
            place, asked = self._json
            place.write_text(text, encoding="utf-8")
            self.files.append(asked)


@contextmanager
def written(out: Path | None, json_file: str | None) -> Iterator[Written]:
    """Drafts for a folder and a JSON file ("-": the screen), put in place when the block ends well.

    Raises RefusedError before the block begins where nothing can be written.
    """
    if json_file == "":
        raise RefusedError("--json is empty; allowed: the name of a file, or - for the screen")
    with ExitStack() as drafts:
        folder = None if out is None else drafts.enter_context(draft(out, folder=True))
        lone = None
        if json_file not in (None, "-"):
            asked = Path(str(json_file))
            lone = drafts.enter_context(draft(asked)), asked
        yield Written(folder, json_file == "-", _out=out, _json=lone)
