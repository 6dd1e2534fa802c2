"""The command line, `evenfield`.

Each command stands in a module named for what it does and imports what it needs when it runs, so that
`evenfield --help` comes at once. A new command: write it as a typed function and register it in `app`.
"""

from evenfield.cli.entry import main

__all__ = ["main"]
