"""A second copy of the archive, from a page or a command; the last one is remembered."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

from trod.archive import backup as core
from trod.archive import disk
from trod.errors import WrongInput
from trod.web import home
from trod.web.catalogue import ledger
from trod.web.catalogue.line import Line, teller

LAST = "last-backup.json"  # in TROD_HOME; no part of the archive, for it speaks of this machine alone


def backup(target: str | Path, line: Line, *, now: datetime) -> dict[str, Any]:
    """Copy what is new in the archive to a folder on another disk. Returns the report as plain values."""
    root = home.archive_root()
    if not root.is_dir():
        raise WrongInput("archive", got=str(root), needed="an archive; nothing was taken in yet")
    ledger.catch_up()
    report = core.backup(
        root,
        Path(target).expanduser(),
        now=now,
        progress=teller(line, "Copying to the backup"),
        stop=line.stop,
    )
    found = report.as_json()
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
