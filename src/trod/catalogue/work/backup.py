"""A second copy of the archive, from a page or a command; the last one is remembered."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

from trod.archive import backup as core
from trod.archive import disk
from trod.catalogue import home
from trod.catalogue.identifications import settling
from trod.catalogue.line import Line, teller
from trod.catalogue.papers import ledger
from trod.errors import CatalogueTrouble, WrongInput

LAST = "last-backup.json"  # in TROD_HOME; no part of the archive, for it speaks of this machine alone


def backup(target: str | Path, line: Line, *, now: datetime) -> dict[str, Any]:
    """Copy what is new in the archive to a folder on another disk. Returns the report as plain values.

    catalogue, in it : why the catalogue does not fit the archive, in words; empty when it does.
    """
    root = home.archive_root()
    if not root.is_dir():
        raise WrongInput("archive", got=str(root), needed="an archive; nothing was imported yet")
    out_of_step = ""
    try:
        settling.settle()
        ledger.catch_up()
    except CatalogueTrouble as problem:  # the archive is the truth and is copied as it lies there
        out_of_step = str(problem)
    report = core.backup(
        root,
        Path(target).expanduser(),
        now=now,
        progress=teller(line, "Copying to the backup"),
        stop=line.stop,
    )
    found = {**report.as_json(), "catalogue": out_of_step}
    if report.ok:
        note = {"at": ledger.moment(now), "to": str(Path(target).expanduser().resolve())}
        disk.write_file(home.home() / LAST, (json.dumps(note) + "\n").encode())
    return found


def last() -> tuple[datetime, str] | None:
    """When the last whole backup was made, and where to; None when none is known of."""
    try:
        note = json.loads((home.home() / LAST).read_bytes())
        return datetime.fromisoformat(note["at"]), str(note["to"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
