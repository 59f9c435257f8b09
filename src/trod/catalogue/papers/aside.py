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


def told_of(aside: Path) -> str:
    """A sentence on records that a catalogue kept aside may hold and the archive not; empty where there are none.

    A record that could not be written to the archive stands in its catalogue alone until it can.
    """
    enter = (
        "Look in that file for what was saved last (any program that opens SQLite files shows it), and enter it again."
    )
    try:
        with contextlib.closing(sqlite3.connect(f"{aside.as_uri()}?mode=ro", uri=True)) as old:
            found = old.execute("SELECT owing FROM trod_catalogue").fetchone()
    except (sqlite3.Error, UnicodeDecodeError):
        return (
            f"Whether every record saved in it had reached the archive can be read no more. If a page told you that a "
            f"record was saved in the catalogue alone, {aside} is the only place where it may be. {enter}"
        )
    if found is None or not found[0]:
        return ""
    return f"A record saved in it had not reached the archive yet, so {aside} is the only place where it is. {enter}"


def set_aside(home: Path, now: datetime) -> Path | None:
    """Move a SQLite catalogue out of the way, with its side files.

    Returns where it went; None if there is none.

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
