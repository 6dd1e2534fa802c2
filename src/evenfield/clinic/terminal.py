"""What the command line does with a clinic's record; each function sets Django up for one data directory."""

import io
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from evenfield.clinic.home import HOME_VARIABLE, HomeError, home_path, make_private, prepare_home

if TYPE_CHECKING:
    from evenfield.clinic.audit.trail import Verification
    from evenfield.clinic.upkeep.backup import LastBackup
    from evenfield.clinic.upkeep.doctor import Finding
    from evenfield.clinic.visits.replaying import Replay


def start_django(home: Path | None = None, *, demonstration: bool = False) -> Path:
    """Prepare the data directory and Django; once per process. Returns the directory. Raises HomeError."""
    place = (home or home_path()).expanduser().resolve()
    prepare_home(place, demonstration=demonstration)
    os.environ[HOME_VARIABLE] = str(place)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "evenfield.clinic.settings")
    import django

    django.setup()
    _reach_server()
    return place


def _reach_server() -> None:
    """Raises HomeError in one sentence if the record is on a PostgreSQL server that does not answer."""
    from django.db import OperationalError, connection

    if connection.vendor == "postgresql":
        try:
            connection.ensure_connection()
        except OperationalError as error:
            words = " ".join(str(error).split())
            raise HomeError(f"The database of DATABASE_URL cannot be reached: {words}.") from error


NONE_HERE = "{} holds no clinic's record; name its data directory with --home."


def _existing(home: Path | None) -> Path:
    """Like `start_django`, for what makes no clinic: without a directory none is made. Raises HomeError."""
    place = (home or home_path()).expanduser().resolve()
    if not os.environ.get("DATABASE_URL") and not place.is_dir():
        raise HomeError(NONE_HERE.format(place))
    return start_django(place)


def _open_record(home: Path | None) -> Path:
    """The same, for what needs the record itself."""
    place = _existing(home)
    from django.db import connection

    if not connection.introspection.table_names():
        raise HomeError(NONE_HERE.format(place))
    return place


def migrate() -> None:
    """Bring the database to the present shape, and check that every route states who may use it."""
    from django.core.management import call_command
    from django.db import connection

    if connection.vendor == "sqlite":  # its journal takes over who may read it
        make_private(Path(connection.settings_dict["NAME"]))
    call_command("check", stdout=io.StringIO())
    call_command("migrate", interactive=False, verbosity=0)


def verify_audit(home: Path | None = None) -> "Verification":
    """Find any edit, removal or reordering made behind the application's back (`evenfield audit verify`)."""
    _open_record(home)
    from evenfield.clinic.audit.compared import verify_record

    return verify_record()


def replay_visit(
    number: int, home: Path | None, *, estimate: bool, progress: Callable[[float], None]
) -> "Replay":
    """Play a stored visit again (`evenfield replay`). Raises HomeError where it cannot be."""
    _open_record(home)
    from evenfield.clinic.courses.models import Visit
    from evenfield.clinic.courses.visits import VisitError
    from evenfield.clinic.visits.replaying import replayed

    try:
        return replayed(number, estimate=estimate, progress=progress)
    except Visit.DoesNotExist:
        raise HomeError(
            f"There is no visit {number}: its number stands in the address of its page."
        ) from None
    except VisitError as error:
        raise HomeError(str(error)) from None


def make_backup(to: Path, home: Path | None = None) -> tuple["LastBackup", Path, bool]:
    """Copy, encrypt and read back everything (`evenfield backup`).

    Returns what was made, the file with its key, and whether that key is new. Raises HomeError.
    """
    place = _open_record(home)
    from evenfield.clinic.audit.actor import Actor, acting
    from evenfield.clinic.audit.models import Action
    from evenfield.clinic.audit.trail import record
    from evenfield.clinic.upkeep.backup import back_up, backup_key
    from evenfield.clinic.upkeep.doctor import in_present_shape

    new = not (place / "backup-key").exists()
    made = back_up(place, to.expanduser(), os.environ.get("DATABASE_URL", ""))
    if in_present_shape():  # a backup before an upgrade leaves the record as it is
        with acting(Actor("terminal")):
            record(Action.EXPORT, note="backup of the whole record")
    return made, backup_key(place)[0], new


def restore_backup(file: Path, key: Path, home: Path | None = None) -> tuple[str, "Verification"]:
    """Put a backup into an empty data directory and check its trail (`evenfield restore`).

    Returns when the backup was made, and what verifying found. Raises HomeError.
    """
    from evenfield.clinic.upkeep.restore import put_back

    place = (home or home_path()).expanduser().resolve()
    made = put_back(file.expanduser(), key.expanduser(), place, os.environ.get("DATABASE_URL", ""))
    start_django(place)
    migrate()
    from evenfield.clinic.audit.actor import Actor, acting
    from evenfield.clinic.audit.compared import verify_record
    from evenfield.clinic.audit.models import Action
    from evenfield.clinic.audit.trail import anchor_anew, record, take_later_rows

    later = take_later_rows()  # the backup holds the anchor as it was before the database was copied
    found = verify_record()
    anchor_anew()
    with acting(Actor("terminal")):
        record(
            Action.RESTORE, note=f"backup of {made}" + (f", {later} rows after its anchor" if later else "")
        )
    return made, found


def look_over(home: Path | None = None) -> list["Finding"]:
    """Versions, disk, clock, database, keys and last backup (`evenfield doctor`). Raises HomeError."""
    place = _existing(home)
    from evenfield.clinic.upkeep.doctor import look_over as run

    return run(place)


def recover_account(username: str, home: Path | None = None, *, drop_second_factor: bool = False) -> str:
    """A one-time code to set this account's password with (`evenfield recover`).

    Raises LookupError with one clear sentence if there is no such account, HomeError if there is no record.
    """
    _open_record(home)
    migrate()
    from evenfield.clinic.accounts.models import Account
    from evenfield.clinic.accounts.recovery import recover

    try:
        return recover(username, drop_second_factor=drop_second_factor)
    except Account.DoesNotExist as error:
        names = ", ".join(Account.objects.order_by("username").values_list("username", flat=True)) or "none"
        raise LookupError(f"There is no account {username!r}; accounts here: {names}.") from error
