"""Time zones: those a clinic chooses among, and the one of this computer."""

import zoneinfo
from pathlib import Path


def zone_names() -> list[str]:
    """All named time zones with a place in them, and UTC, in order."""
    named = zoneinfo.available_timezones()
    return sorted(
        {"UTC", *(name for name in named if "/" in name and not name.startswith(("Etc/", "SystemV/")))}
    )


def computer_time_zone(localtime: Path = Path("/etc/localtime")) -> str:
    """The computer's time zone if it is one of `zone_names`, else UTC."""
    try:
        target = str(localtime.resolve(strict=True))
    except OSError:
        return "UTC"
    name = target.split("zoneinfo/", 1)[-1].removeprefix("posix/")
    return name if name in zone_names() else "UTC"
