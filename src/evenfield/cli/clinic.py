"""Commands that work on a clinic's record; each sets Django up only when it runs.

Upkeep commands (backup, restore, doctor) belong here too: a function that calls `evenfield.clinic`, and a
line in `app`.
"""

from pathlib import Path
from typing import Annotated

import typer

from evenfield.cli.refused import RefusedError

Home = Annotated[
    Path | None,
    typer.Option("--home", metavar="DIR", help="Data directory; else EVENFIELD_HOME or the usual place."),
]
audit = typer.Typer(help="The trail of who did what.", no_args_is_help=True)


def serve(
    home: Home = None,
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="Port on this computer.")] = 8321,
    demo: Annotated[bool, typer.Option("--demo", help="An invented clinic, marked as such.")] = False,
) -> None:
    """Serve the clinic's pages on this computer until Ctrl-C."""
    from evenfield.clinic.serve import serve as run

    run(home, port, demo=demo, say=typer.echo)


@audit.callback()
def _audit() -> None:
    """The trail of who did what."""


@audit.command("verify")
def verify_audit(home: Home = None) -> None:
    """Find any edit, removal or reordering made behind the application's back (then exit status 1)."""
    from evenfield.clinic.terminal import verify_audit as run

    found = run(home)
    for problem in found.problems:
        typer.echo(problem)
    number = len(found.problems)
    problems = "no problem" if number == 0 else f"{number} problem{'s' if number > 1 else ''}"
    typer.echo(f"{found.rows} rows read, {problems} found.")
    raise typer.Exit(0 if found.holds else 1)


def recover(
    username: Annotated[str, typer.Argument(metavar="NAME", help="The account's user name.")],
    home: Home = None,
    drop_second_factor: Annotated[
        bool, typer.Option("--drop-second-factor", help="Also forget the account's second step.")
    ] = False,
) -> None:
    """Print a one-time code with which an account can set a new password."""
    from evenfield.clinic.terminal import recover_account

    try:
        code = recover_account(username, home, drop_second_factor=drop_second_factor)
    except LookupError as error:
        raise RefusedError(str(error.args[0])) from error
    typer.echo(code)
