"""All commands, registered in the order in which help lists them."""

import typer

from evenfield.cli import (
    advise,
    clinic,
    diagnose,
    forecast,
    place,
    thermometer,
    uncertainty,
    verify,
    what_if,
)

app = typer.Typer(
    name="evenfield",
    help=(
        "Where the heat of a contactless 27.12 MHz field goes: before, during and after a visit. "
        "It advises and records; it controls no device."
    ),
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def version() -> None:
    """Print the version."""
    from evenfield import __version__

    typer.echo(f"evenfield {__version__}")


app.command()(forecast.forecast)
app.command()(what_if.what_if)
app.command()(place.place)
app.command()(diagnose.diagnose)
app.command()(uncertainty.uncertainty)
app.command()(advise.advise)
app.command()(verify.verify)
app.command()(clinic.serve)
app.command()(clinic.replay)
app.command()(thermometer.thermometer)
app.add_typer(clinic.audit, name="audit")
app.command()(clinic.recover)
app.command()(clinic.backup)
app.command()(clinic.restore)
app.command()(clinic.doctor)
app.command()(version)
