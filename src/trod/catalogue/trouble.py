"""What a database says when it cannot be used, as one of our own errors with what to do next."""

from __future__ import annotations

import sqlite3

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db import DatabaseError, IntegrityError, InterfaceError

from trod.catalogue import home
from trod.errors import CatalogueTrouble, DiskFull, TrodError

# What SQLite says (sqlite.org/rescode.html), and what we make of it.
_DAMAGED = (
    "file is not a database", "malformed", "file is encrypted", "unsupported file format", "no such column",
    "no such table", "has no column named", "no such function", "foreign key mismatch", "Could not decode to UTF-8",
)  # fmt: skip
_READ_ONLY = ("readonly database", "unable to open database file")


def in_words(problem: BaseException) -> TrodError | None:
    """One of our own errors for an error of the database or of its settings; None for any other."""
    if isinstance(problem, ImproperlyConfigured):
        return CatalogueTrouble(
            f"The catalogue's database cannot be used: {_one_line(problem)} See that TROD_DATABASE_URL is right and "
            "that what it needs is installed."
        )
    if isinstance(problem, IntegrityError) or not isinstance(problem, (DatabaseError, InterfaceError, sqlite3.Error)):
        return None
    said = _one_line(problem)
    if settings.DATABASES["default"]["ENGINE"].endswith("postgresql"):
        return CatalogueTrouble(
            f"The PostgreSQL catalogue does not answer as it should ({said}). See that the server runs and that "
            "TROD_DATABASE_URL names it rightly, then try again. The archive was not touched."
        )
    path = home.home() / "catalogue.sqlite3"
    if is_damage(problem):
        return CatalogueTrouble(
            f"{path} is damaged or no catalogue ({said}). The archive holds the truth: trod rebuild makes the "
            "catalogue anew from it and keeps this file aside."
        )
    if "disk is full" in said or "disk I/O error" in said:
        return DiskFull(
            f"{path} cannot be written: the disk is full or at fault ({said}). Make room, look at the disk, then try "
            "again."
        )
    if any(words in said for words in _READ_ONLY):
        return CatalogueTrouble(
            f"{path} cannot be opened for writing ({said}). Trod needs a data folder that it may write: mend its "
            "rights, or name another with --home."
        )
    if "locked" in said:
        return CatalogueTrouble(
            f"{path} is being written by another process for long ({said}). Wait until that has ended, then try again."
        )
    return CatalogueTrouble(
        f"{path} does not answer as it should ({said}). Try again; if it stays so, trod rebuild makes the catalogue "
        "anew from the archive."
    )


def is_damage(problem: BaseException) -> bool:
    """Whether SQLite says that the catalogue's file, its tables or its rows are spoilt."""
    of_database = isinstance(problem, (DatabaseError, InterfaceError, sqlite3.Error))
    return of_database and any(words in str(problem) for words in _DAMAGED)


def _one_line(problem: BaseException) -> str:
    said = " ".join(str(problem).split())
    return "".join(c for c in said if c.isprintable() and c != "\N{REPLACEMENT CHARACTER}")[:300]
