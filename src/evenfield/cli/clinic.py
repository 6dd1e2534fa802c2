"""Commands that work on a clinic's record; each sets Django up only when it runs.

Each is a function that calls `evenfield.clinic`, and a line in `app`.
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
    from evenfield.clinic.serve import PortTakenError
    from evenfield.clinic.serve import serve as run

    try:
        run(home, port, demo=demo, say=typer.echo)
    except PortTakenError as error:
        raise RefusedError(str(error)) from error


def replay(
    visit: Annotated[int, typer.Argument(metavar="VISIT", help="The number in the address of its page.")],
    home: Home = None,
    estimate: Annotated[
        bool, typer.Option("--estimate/--no-estimate", help="With the rules that watch the estimate.")
    ] = True,
    as_json: Annotated[bool, typer.Option("--json", help="Every prompt with reason and source.")] = False,
) -> None:
    """Play a stored visit again: which prompts it gave, when, from which rule."""
    from evenfield.cli.progress import shown_progress
    from evenfield.clinic.terminal import replay_visit
    from evenfield.conduct.replay import replay_to_json

    with shown_progress() as progress:
        found = replay_visit(
            visit, home, estimate=estimate, progress=lambda share: progress("estimates", share)
        )
    if as_json:
        typer.echo(replay_to_json(found.shown))
        return
    for now_s, prompts in found.shown:
        clock = f"{int(now_s) // 60}:{int(now_s) % 60:02d}"
        typer.echo(f"{clock:>6}  {prompts[0].urgency if prompts else '-'}")
        for prompt in prompts:
            typer.echo(f"        {prompt.what} [{prompt.rule}]")
    if found.without_estimate:
        typer.echo(found.without_estimate, err=True)


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


def backup(
    to: Annotated[Path, typer.Option("--to", metavar="PLACE", help="A new file, or a folder to put it in.")],
    home: Home = None,
) -> None:
    """Write an encrypted copy of the whole record while the clinic works, and read it back."""
    from evenfield.clinic.terminal import make_backup

    made, key, new = make_backup(to, home)
    typer.echo(f"{made.file}: {made.bytes} bytes, read back and found good.")
    kept = "made just now" if new else "as before"
    typer.echo(
        f"Its key ({kept}) is {key}. Keep a copy of the key elsewhere: without it no backup can be read."
    )


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The backup.", show_default=False)],
    key: Annotated[Path, typer.Option("--key", metavar="KEYFILE", help="The file with its key.")],
    home: Home = None,
) -> None:
    """Put a backup into an empty data directory and verify its trail (status 1 if that does not hold)."""
    from evenfield.clinic.terminal import restore_backup

    made, found = restore_backup(file, key, home)
    for problem in found.problems:
        typer.echo(problem)
    typer.echo(f"Restored the backup of {made}; {found.rows} rows of the trail read.")
    raise typer.Exit(0 if found.holds else 1)


def doctor(home: Home = None) -> None:
    """Look over versions, disk space, clock, database and last backup (status 1 if something is amiss)."""
    from evenfield.clinic.terminal import look_over

    findings = look_over(home)
    for one in findings:
        typer.echo(f"{'ok   ' if one.in_order else 'AMISS'} {one.name}: {one.words}")
    raise typer.Exit(0 if all(one.in_order for one in findings) else 1)
