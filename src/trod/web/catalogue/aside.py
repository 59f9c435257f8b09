"""What happens to a catalogue before Django opens it: an old one is set aside."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path


def set_aside(home: Path, now: datetime) -> Path | None:
    """Move a SQLite catalogue out of the way, with its side files. Returns where it went; None if there is
    none.

    To be called before Django opens the database.
    """
    old = home / "catalogue.sqlite3"
    if not old.exists():
        return None
    aside = old.with_name(f"{old.name}.before-{now:%Y%m%dT%H%M%SZ}")
    number = 2
    while aside.exists():
        aside = old.with_name(f"{old.name}.before-{now:%Y%m%dT%H%M%SZ}-{number}")
        number += 1
    # What was written last may still stand in the log beside it; the log goes with it.
    for tail in ("-wal", "-shm"):
        side = old.with_name(old.name + tail)
        if side.exists():
            side.replace(aside.with_name(aside.name + tail))
    old.replace(aside)
    return aside
