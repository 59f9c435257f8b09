"""Whether the catalogue's own tables and rows can be read as Trod's models say.

SQLite keeps no checksums: a flipped byte may leave a file that opens, and in which a column has another name or a text
is no text any more. The tables are compared at every start, which takes hundredths of a second; the rows are read
through only when something has failed that such damage would explain. A PostgreSQL server is left to look after its
own tables.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import islice

from django.apps import apps
from django.db import DatabaseError, connection, models, transaction

# The second where SQLite's words about the fault hold the spoilt bytes themselves.
SAID_OF_DAMAGE = (DatabaseError, UnicodeDecodeError)
MOST_ROWS = 100_000  # of one table are read when in doubt
_COLUMNS = """SELECT m.name, p.name, p.type, p."notnull", p.pk
    FROM sqlite_master m JOIN pragma_table_info(m.name) p WHERE m.type = 'table'"""
_KEYS = """SELECT m.name, f."from", f."table", f."to"
    FROM sqlite_master m JOIN pragma_foreign_key_list(m.name) f WHERE m.type = 'table'"""


def _models() -> list[type[models.Model]]:
    return [m for m in apps.get_models(include_auto_created=True) if m._meta.managed and not m._meta.proxy]


def tables_told() -> list[str]:
    """Sentences on tables that are not as the models say; the models' migrations must have been done."""
    if connection.vendor != "sqlite":
        return []
    try:
        return _columns_told() or _statements_told()
    except SAID_OF_DAMAGE as problem:
        return [f"Its tables cannot be read ({_short(problem)})."]


def _columns_told() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(_COLUMNS)
        have = {(table, name): (kind.lower(), bool(filled), bool(key)) for table, name, kind, filled, key in cursor}
        cursor.execute(_KEYS)
        named = {(table, name): (other, column) for table, name, other, column in cursor}
    told = []
    for model in _models():
        table = model._meta.db_table
        for f in model._meta.local_concrete_fields:
            there = have.get((table, f.column))
            if there is None:
                told.append(f"Its table {table} has no column {f.column}.")
            elif there != ((f.db_type(connection) or "").lower(), not f.null, f.primary_key):
                told.append(f"Column {f.column} of its table {table} is of another kind than it should be.")
            elif named.get((table, f.column)) != _target(f):
                told.append(f"Column {f.column} of its table {table} names another table than it should.")
    return told


def _target(f: models.Field[object, object]) -> tuple[str, str | None] | None:
    """The table and column that a reference names, where the database is to hold it to that."""
    if not isinstance(f, models.ForeignKey) or not getattr(f, "db_constraint", True):
        return None
    return f.related_model._meta.db_table, f.target_field.column


def _statements_told() -> list[str]:
    """Whether SQLite can put together what it would do at an insert and a removal, with all checks and references."""
    columns: dict[str, list[str]] = defaultdict(list)
    for model in _models():
        columns[model._meta.db_table] += [f.column for f in model._meta.local_concrete_fields if f.column]
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        for table, names in columns.items():
            try:
                columns_told, nothing = ", ".join(map(quote, names)), ", ".join(["NULL"] * len(names))
                # Names of our own tables, quoted.
                cursor.execute(f"EXPLAIN INSERT INTO {quote(table)} ({columns_told}) VALUES ({nothing})")  # noqa: S608
                cursor.execute(f"EXPLAIN DELETE FROM {quote(table)} WHERE 1 = 0")  # noqa: S608
            except SAID_OF_DAMAGE as problem:
                return [f"Its table {table} cannot be written ({_short(problem)})."]
    return []


def rows_told() -> list[str]:
    """Sentences on rows that cannot be read, or that name a row which is not there. Reads much; for when in doubt."""
    if connection.vendor != "sqlite":
        return []
    told = []
    for model in _models():
        table = model._meta.db_table
        try:
            with transaction.atomic():
                for _ in islice(model._base_manager.order_by().iterator(), MOST_ROWS):
                    pass
        except Exception as problem:  # whatever a field makes of spoilt bytes
            told.append(f"A row of its table {table} cannot be read ({_short(problem)}).")
    try:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA foreign_key_check")
            for table, _, other, _ in islice(cursor, 3):
                told.append(f"A row of its table {table} names one of {other} that is not there.")
    except SAID_OF_DAMAGE as problem:
        told.append(f"Its tables cannot be read ({_short(problem)}).")
    return told


def _short(problem: BaseException) -> str:
    said = " ".join(str(problem).split())
    return "".join(c for c in said if c.isprintable() and c != "�")[:120] or type(problem).__name__
