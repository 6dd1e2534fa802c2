"""The one door of the command line, and the one place where it says that something cannot be done.

Exit status: 0 done; 1 what was checked does not hold; 2 the input cannot be used, told in one sentence on
stderr; 130 cancelled with Ctrl-C.
"""

import sys
from collections.abc import Sequence

from evenfield.cli.refused import sentence

CANCELLED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command with these arguments (those of the process if None) and return its exit status."""
    from evenfield.cli.app import app

    try:
        app(args=arguments, prog_name="evenfield")
    except SystemExit as end:
        status = end.code if isinstance(end.code, int) else int(end.code is not None)
        if status == CANCELLED:
            print("Cancelled: nothing half-written is left.", file=sys.stderr)
        return status
    except Exception as error:
        told = sentence(error)
        if told is None:
            raise
        print(told, file=sys.stderr)
        return 2
    return 0
