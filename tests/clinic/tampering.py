"""Changes behind the application's back, as someone with the database file would make them."""

from datetime import datetime

from django.db import connection

from evenfield.clinic.audit import triggers


def behind_the_back(
    statement: str,
    *values: str | int | datetime | None,
    tables: tuple[str, ...] = ("audit_auditevent", "audit_auditdetail"),
) -> None:
    """Change the database as someone would who first takes the triggers away, and puts them back after."""
    on_postgresql = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        if on_postgresql:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table in tables:
            for name in triggers._names(table):
                cursor.execute(f"DROP TRIGGER {name}" + (f" ON {table}" if on_postgresql else ""))
        cursor.execute(statement, list(values))
    triggers.set_triggers()
