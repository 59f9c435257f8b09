"""Make Django ready inside a command, late: `from trod.catalogue.start import ready; ready("trod ask")`."""

from __future__ import annotations

import os

# Two that start at once on a new data folder: the second waits so long for the first to make the tables.
WAIT_S = 300.0


def ready(command: str = "trod", *, migrate: bool = True, settle: bool = True) -> None:
    """Set Django up on TROD_HOME, and see that the catalogue is made from the archive that lies there.

    Puts up this process's sign and brings the tables up to date (quick when they are).

    settle : False for who looks at that itself.
    Raises InUse while the catalogue is being made anew by another process, and OutOfStep.
    """
    import django

    from trod.catalogue import holders, home

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "trod.web.settings")
    home.make()
    django.setup()
    holders.sign_in(command)
    if migrate:
        bring_up_to_date()
    home.guard()
    if settle and migrate:
        from trod.catalogue.identifications import settling

        settling.settle()


def bring_up_to_date() -> None:
    """Make the tables what this Trod needs; one process at a time."""
    from trod.archive import disk
    from trod.catalogue import home

    if not _is_behind():
        return
    with disk.Lock(home.home() / ".start-lock", wait_s=WAIT_S):
        if _is_behind():
            from django.core.management import call_command

            call_command("migrate", verbosity=0, interactive=False)


def _is_behind() -> bool:
    from django.db import DatabaseError, connection
    from django.db.migrations.executor import MigrationExecutor

    try:
        executor = MigrationExecutor(connection)
        return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
    except UnicodeDecodeError as problem:  # SQLite's words about the fault hold the spoilt bytes
        raise DatabaseError("database disk image is malformed") from problem


def look_in() -> bool:
    """Set Django up only to read the catalogue, making and changing nothing. Returns whether there is one to read."""
    import django

    from trod.catalogue import home

    if not os.environ.get("TROD_DATABASE_URL"):
        path = home.home() / "catalogue.sqlite3"
        if not path.is_file() or not path.stat().st_size:
            return False
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "trod.web.settings")
    django.setup()
    from django.db import DatabaseError

    try:
        return not _is_behind()
    except DatabaseError:
        return False
