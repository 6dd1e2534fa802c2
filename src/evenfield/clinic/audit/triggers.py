"""Database triggers that keep append-only tables append-only, on SQLite and PostgreSQL.

They are set after every `migrate`, because SQLite loses a table's triggers when a migration rebuilds it. A
model asks for them with a class attribute `append_only`: "never" (no row is ever removed) or "after erasure"
(a row may be removed once the trail says that its subject was erased; the model then has `subject_id`).
"""

from collections.abc import Iterator

from django.apps import apps
from django.db import connection, models

_ERASED = "SELECT 1 FROM audit_auditevent e WHERE e.action = 'erase' AND e.subject_id = OLD.subject_id"


def append_only_models() -> Iterator[type[models.Model]]:
    """All models that carry the mark."""
    return (model for model in apps.get_models() if hasattr(model, "append_only"))


def set_triggers(**_: object) -> None:
    """Put the triggers in place (idempotent); connected to Django's post_migrate."""
    existing = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for model in append_only_models():
            table = model._meta.db_table
            if table in existing and "audit_auditevent" in existing:
                for statement in _statements(table, removable=_removable(model)):
                    cursor.execute(statement)


def missing_triggers() -> list[str]:
    """Sentences for every trigger of an append-only table that is missing, switched off, or another one."""
    present = _present()
    return [
        f"{table}: the trigger {name} is missing from the database."
        if name not in present
        else f"{table}: the trigger {name} is not the one that was set."
        for model in append_only_models()
        for table in [model._meta.db_table]
        for name, wanted in _wanted(table, removable=_removable(model)).items()
        if present.get(name) != wanted
    ]


def _present() -> dict[str, tuple[str, ...]]:
    """By name, what each trigger of the database does; on PostgreSQL also what its function does."""
    if connection.vendor == "sqlite":
        question = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    else:
        question = (
            "SELECT tgname, pg_get_triggerdef(t.oid, true), prosrc,"
            " COALESCE(array_to_string(proconfig, ','), '')"
            " FROM pg_trigger t JOIN pg_proc f ON f.oid = tgfoid"
            " WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')"
        )
    with connection.cursor() as cursor:
        cursor.execute(question)
        return {name: tuple(does) for name, *does in cursor.fetchall()}


def _wanted(table: str, *, removable: bool) -> dict[str, tuple[str, ...]]:
    """The same as `_present`, as `_statements` set them."""
    made = list(_statements(table, removable=removable))
    triggers = [statement for statement in made if statement.startswith("CREATE TRIGGER")]
    bodies = [statement.split("$$")[1] for statement in made if "$$" in statement]
    beside = [*bodies, ""] if connection.vendor == "postgresql" else []
    return {name: (does, *beside) for name, does in zip(_names(table), triggers, strict=True)}


def _removable(model: type[models.Model]) -> bool:
    return getattr(model, "append_only", "") == "after erasure"


def _names(table: str) -> list[str]:
    names = [f"{table}_no_update", f"{table}_no_delete"]
    return [*names, f"{table}_no_truncate"] if connection.vendor == "postgresql" else names


def _statements(table: str, *, removable: bool) -> Iterator[str]:
    if connection.vendor == "sqlite":
        refuse = f"SELECT RAISE(ABORT, '{table} is append-only')"
        condition = f" WHEN NOT EXISTS ({_ERASED})" if removable else ""
        for moment, when in (("UPDATE", ""), ("DELETE", condition)):
            name = f"{table}_no_{moment.lower()}"
            yield f"DROP TRIGGER IF EXISTS {name}"
            yield f"CREATE TRIGGER {name} BEFORE {moment} ON {table}{when} BEGIN {refuse}; END"
        return
    allowed = (
        f"IF TG_OP = 'DELETE' THEN IF EXISTS ({_ERASED}) THEN RETURN OLD; END IF; END IF;"
        if removable
        else ""
    )
    function = f"{table}_append_only"
    yield (
        f"CREATE OR REPLACE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {allowed}"
        f" RAISE EXCEPTION '{table} is append-only' USING ERRCODE = 'integrity_constraint_violation'; END $$"
    )
    for name, moment in zip(_names(table), ("UPDATE", "DELETE", "TRUNCATE"), strict=True):
        each = "STATEMENT" if moment == "TRUNCATE" else "ROW"
        yield f"DROP TRIGGER IF EXISTS {name} ON {table}"
        yield (
            f"CREATE TRIGGER {name} BEFORE {moment} ON {table} FOR EACH {each} EXECUTE FUNCTION {function}()"
        )
