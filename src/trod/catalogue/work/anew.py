"""Making the catalogue anew, for `trod rebuild` and for `trod serve`: alone, the old one kept aside, accounts kept."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from django.db import connections

from trod.archive import upgrade
from trod.catalogue import holders, home
from trod.catalogue.line import Line, teller
from trod.catalogue.papers.aside import NAME, copy_aside, set_aside
from trod.errors import WrongInput

if TYPE_CHECKING:
    from trod.archive.upgrade import Upgraded
    from trod.catalogue.work.rebuild import Rebuilt

NO_ARCHIVE = "the archive folder of a TROD_HOME; there is none to read"


@dataclass(frozen=True)
class Anew:
    """What came of it. before : where the old catalogue is kept.  upgraded : what was done to an older archive."""

    made: Rebuilt
    before: Path | None
    upgraded: Upgraded | None = None


def is_postgres() -> bool:
    """Whether the catalogue lies on a PostgreSQL server."""
    return bool(os.environ.get("TROD_DATABASE_URL"))


def can_be_read(path: Path) -> bool:
    """Whether a SQLite file can be read through, and its indexes say what its tables do.

    The quick check looks at no index: entries of one that is spoilt would outlive the emptying of its table.
    """
    try:
        found = sqlite3.connect(path, timeout=20)
        try:
            return bool(found.execute("PRAGMA integrity_check(1)").fetchone() == ("ok",))
        finally:
            found.close()
    except (sqlite3.Error, UnicodeDecodeError):  # the second where the words about the fault hold the spoilt bytes
        return False


def prepare(now: datetime) -> Path | None:
    """Before Django opens it: a catalogue that cannot be read is moved aside, so that a new one can be made.

    Raises NewerFormat and OlderFormat, for then none can be made.
    """
    upgrade.format_of(home.archive_root())
    path = home.home() / NAME
    if is_postgres() or not path.exists() or can_be_read(path):
        return None
    return set_aside(home.home(), now)


# What is taken over of accounts, where it can still be read: who may log in, and their rights by name.
_ACCOUNTS = (
    "INSERT INTO auth_user SELECT * FROM old.auth_user",
    "INSERT INTO auth_user_user_permissions (user_id, permission_id) SELECT link.user_id, p.id"
    " FROM old.auth_user_user_permissions link JOIN old.auth_permission q ON q.id = link.permission_id"
    " JOIN auth_permission p ON p.codename = q.codename",
)


def _new_file(now: datetime) -> Path | None:
    """Put a catalogue whose tables are spoilt aside and begin a new file, with the accounts that can be read."""
    from trod.catalogue import start

    connections.close_all()
    aside = set_aside(home.home(), now)
    start.bring_up_to_date()
    connections.close_all()
    if aside is not None:
        with contextlib.closing(sqlite3.connect(home.home() / NAME, timeout=20)) as new:
            new.execute("ATTACH ? AS old", (f"{aside}",))
            for statement in _ACCOUNTS:
                with contextlib.suppress(sqlite3.Error, UnicodeDecodeError), new:
                    new.execute(statement)
    return aside


def make(command: str, line: Line, *, now: datetime, remake_thumbnails: bool = False) -> Anew:
    """Make the catalogue anew from the archive, which is brought up to today's format first. Django must be ready.

    The old one, if it holds anything, is kept aside as a copy first (not on PostgreSQL); accounts stay in their place.
    Raises InUse, WrongInput, CatalogueTrouble, DiskFull, ArchiveUnwritable, Stopped.
    """
    from trod.catalogue.papers import readable, standing
    from trod.catalogue.work import rebuild

    if not home.archive_root().is_dir():
        raise WrongInput("archive", got=str(home.archive_root()), needed=NO_ARCHIVE)
    with holders.alone(command):
        upgraded = upgrade.upgrade(home.archive_root(), progress=teller(line, "Writing papers in the new format"))
        before = None
        if not is_postgres() and readable.tables_told():
            before = _new_file(now)  # emptied, it would keep the tables that are spoilt
            return Anew(rebuild.make_anew(line, remake_thumbnails=remake_thumbnails), before, upgraded)
        if not is_postgres() and standing.look().how is not standing.How.HALF and standing.holds_records():
            connections.close_all()
            before = copy_aside(home.home(), now)
        return Anew(rebuild.make_anew(line, remake_thumbnails=remake_thumbnails), before, upgraded)
