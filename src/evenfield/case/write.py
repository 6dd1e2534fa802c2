"""From a case back to a case file that reads as the same case."""

import json
import re

from evenfield.case.keys import file_values, left_open
from evenfield.case.model import Case


def case_to_toml(case: Case) -> str:
    """The text of a case file for this case.

    What the file had left open is written as a comment, so that it is seen and stays open.
    """
    unset = left_open(case)
    lines: list[str] = []
    header = ""
    for key, value in file_values(case).items():
        section, _, name = key.rpartition(".")
        if section != header:
            header = section
            lines += ["", "[[panel]]" if section.startswith("panel[") else f"[{section}]"]
        line = f"{name or key} = {_toml(value)}"
        lines.append(f"# {line}  # {unset[key]}" if key in unset else line)
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    """A TOML value: text, number, list or inline table. JSON's quoting of text is TOML's."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name} = {_toml(part)}" for name, part in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    number = repr(value)
    return re.sub(r"\.0$", "", number)
