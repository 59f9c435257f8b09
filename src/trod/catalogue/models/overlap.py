"""No camera can be in two places: the database itself refuses overlapping deployments of one camera.

PostgreSQL has exclusion constraints; SQLite gets two triggers. Both are put up after every migration, because
SQLite's are lost whenever Django rebuilds the table.
"""

from __future__ import annotations

from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections

MESSAGE = "this camera is already deployed somewhere in that time"
NAME = "trod_deployment_no_overlap"

_TRIGGER = """
CREATE TRIGGER IF NOT EXISTS {name}_{when} BEFORE {sequence} ON trod_deployment
WHEN EXISTS (
  SELECT 1 FROM trod_deployment AS other
  WHERE other.camera_id = NEW.camera_id AND other.id IS NOT NEW.id
    AND (NEW."end" IS NULL OR other.start < NEW."end")
    AND (other."end" IS NULL OR NEW.start < other."end")
)
BEGIN SELECT RAISE(ABORT, '{message}'); END
"""
_EXCLUDE = """
ALTER TABLE trod_deployment ADD CONSTRAINT {name} EXCLUDE USING gist (
  camera_id WITH =, tstzrange(start, "end", '[)') WITH &&)
"""


def guard_overlaps(using: str = DEFAULT_DB_ALIAS, **kwargs: Any) -> None:
    """Put the guard up where it is missing."""
    connection = connections[using]
    with connection.cursor() as cursor:
        if "trod_deployment" not in connection.introspection.table_names(cursor):
            return
        if connection.vendor == "sqlite":
            for sequence in ("INSERT", "UPDATE"):
                cursor.execute(_TRIGGER.format(name=NAME, when=sequence.lower(), sequence=sequence, message=MESSAGE))
        elif connection.vendor == "postgresql":
            cursor.execute("SELECT 1 FROM pg_constraint WHERE conname = %s", [NAME])
            if cursor.fetchone() is None:
                cursor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
                cursor.execute(_EXCLUDE.format(name=NAME))
