"""An old catalogue is kept aside before a new one is made: as a copy, or, where it cannot be read, as it is."""

from __future__ import annotations

import contextlib
import sqlite3
from datetime import datetime
from pathlib import Path

NAME = "catalogue.sqlite3"


def _free(home: Path, now: datetime) -> Path:
    """A name that is not taken yet."""
    aside = home / f"{NAME}.before-{now:%Y%m%dT%H%M%SZ}"
    number = 2
    while aside.exists():
        aside = home / f"{NAME}.before-{now:%Y%m%dT%H%M%SZ}-{number}"
        number += 1
    return aside


def copy_aside(home: Path, now: datetime) -> Path:
    """Keep a whole copy of a SQLite catalogue that can be read. Raises sqlite3.Error, and leaves no half of one."""
    aside = _free(home, now)
    with contextlib.closing(sqlite3.connect(home / NAME, timeout=20)) as old:
        try:
            old.execute("VACUUM INTO ?", (str(aside),))
        except sqlite3.Error:
            aside.unlink(missing_ok=True)
            raise
    aside.chmod(0o600)
    return aside


def set_aside(home: Path, now: datetime) -> Path | None:
    """Move a SQLite catalogue out of the way, with its side files. Returns where it went; None if there is
    none.

    To be called before Django opens the database.
    """
    old = home / NAME
    if not old.exists():
        return None
    aside = _free(home, now)
    # What was written last may still stand in the log beside it; the log goes with it.
    for tail in ("-wal", "-shm"):
        side = old.with_name(old.name + tail)
        if side.exists():
            side.replace(aside.with_name(aside.name + tail))
    old.replace(aside)
    return aside
