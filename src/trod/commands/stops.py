"""How a command that cannot go on ends: one sentence and exit status 3, whatever stopped it.

What Trod knows of is a `TrodError` and says so itself. What the system, the database or the person at the keys
does is put into words here, for all verbs in one place. Only a fault of ours has no words of its own: its trace
goes to a file in the data folder, and the sentence says where.
"""

from __future__ import annotations

import contextlib
import errno
import os
import sys
import traceback
from datetime import UTC, datetime
from pathlib import Path

import click

from trod.errors import ArchiveUnwritable, DiskFull, Stopped, TrodError

STATUS = 3
FAULT = "last-fault.txt"  # in TROD_HOME; made anew by each fault
_NO_ROOM = {errno.ENOSPC, errno.EFBIG} | ({errno.EDQUOT} if hasattr(errno, "EDQUOT") else set())
_REFUSED = {errno.EACCES, errno.EPERM, errno.EROFS}


def sentence(problem: BaseException) -> str:
    """What stopped a command, in words fit to be shown."""
    if isinstance(problem, TrodError):
        return str(problem) or f"{type(problem).__name__}."
    if isinstance(problem, (KeyboardInterrupt, click.Abort)):
        return "Stopped. What was done until then is kept; the same command again goes on or begins anew."
    if isinstance(problem, BrokenPipeError):
        return "Whoever read the output has closed it, so not all of it was printed."
    if isinstance(problem, MemoryError):
        return "This machine has not enough memory for it. Close other programs, or ask for less at once."
    if isinstance(problem, TimeoutError) and not problem.errno:
        return f"{problem}. Wait until it has ended, then give the same command again."
    if isinstance(problem, OSError):
        return str(_of_system(problem))
    known = _of_database(problem)
    return str(known) if known is not None else _of_fault(problem)


def _of_system(problem: OSError) -> TrodError:
    where = str(problem.filename or os.environ.get("TROD_HOME") or "the data folder")
    why = problem.strerror or str(problem) or type(problem).__name__
    if problem.errno in _NO_ROOM:
        return DiskFull(
            f"No room left on the disk of {where} ({why}). What was done until then is kept. "
            "Make room there, then give the same command again."
        )
    if problem.errno in _REFUSED:
        return ArchiveUnwritable(
            f"{where} cannot be used as it is ({why}). Trod needs a folder that it may read and write: mend its "
            "rights, or name another with --home."
        )
    return ArchiveUnwritable(
        f"{where} cannot be used ({why}). See that the disk is there and that the path is right, then give the same "
        "command again."
    )


def _of_database(problem: BaseException) -> TrodError | None:
    """In words, when it comes from the database or its settings; Django is not loaded for it."""
    if "django" not in sys.modules:
        return None
    from django.db import DatabaseError

    from trod.catalogue.trouble import in_words

    known = in_words(problem)
    if known is None and isinstance(problem, (LookupError, ValueError, TypeError)):  # as from a row that is spoilt
        with contextlib.suppress(DatabaseError, ImportError, AttributeError, TrodError):
            from django.apps import apps

            if apps.ready:
                from trod.catalogue.papers import standing

                known = standing.in_doubt(problem)
    return known


def _of_fault(problem: BaseException) -> str:
    """A fault of ours: its trace goes to a file, if one can be written."""
    trace = "".join(traceback.format_exception(problem))
    kept = "Set TROD_DEBUG=1 to see where"
    with contextlib.suppress(OSError):
        place = Path(os.environ.get("TROD_HOME") or Path.home() / "trod").expanduser() / FAULT
        if place.parent.is_dir():
            handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
                file.write(f"{datetime.now(UTC).isoformat()}\n{' '.join(sys.argv[1:])}\n{trace}")
            kept = f"Where it came about stands in {place}"
    said = " ".join(str(problem).split())[:300]
    return (
        f"An unforeseen fault of Trod's own ({type(problem).__name__}: {said}). What was done until then is kept. "
        f"{kept}; please tell us of it."
    )


def end(problem: BaseException) -> int:
    """Say on standard error why a command stops. Returns the status to end with."""
    words = sentence(problem)
    if isinstance(problem, BrokenPipeError):
        _let_go_of_output()
    if isinstance(problem, Stopped) and isinstance(problem.__cause__, KeyboardInterrupt):
        words = str(problem)
    with contextlib.suppress(OSError):
        click.echo(f"Error: {words}", err=True)
    return STATUS


def _let_go_of_output() -> None:
    """Nobody reads standard output any more; the interpreter's own last flush must not stumble over that."""
    with contextlib.suppress(OSError, ValueError):
        void = os.open(os.devnull, os.O_WRONLY)
        os.dup2(void, sys.stdout.fileno())
        os.close(void)
