"""The fault itself: in a child process, the N-th step that changes the disk is the last, or the first that fails.

A step is a write to a file, a flush, an opening for writing, a renaming, a removal, a new folder, a change of mode
or time, or a statement or commit that writes to the catalogue. They are caught by an audit hook (which sees every
opening and renaming, whoever asks for it) and by wrapping os.write, os.fsync and Django's cursor. What SQLite itself
does on the disk is not seen here; kills at a random moment and the really full disk are for that.
"""

from __future__ import annotations

import errno
import mmap
import os
import signal
import stat
import struct
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
# Sequences of the audit hook that change a disk, and which of their arguments are paths.
CHANGING = {
    "os.rename": (0, 1), "os.remove": (0,), "os.mkdir": (0,), "os.rmdir": (0,), "os.truncate": (0,), "os.chmod": (0,),
    "os.utime": (0,), "os.link": (0, 1), "os.symlink": (1,),
}  # fmt: skip
NEED_ROOM = {"os.mkdir", "os.link", "os.symlink", "create", "write", "sql"}
READING = {"open", "os.scandir", "os.listdir"}


@dataclass(frozen=True)
class Plan:
    """What is to happen. what : count | kill | full | readonly | unreadable | vanish; at : the step, from 1.

    folder : where steps count (for unreadable and vanish: the card, whose openings are the steps).
    """

    what: str
    folder: str
    at: int = 0


class Counter:
    """Two numbers that outlive the child: steps so far, and a flag that work came to its end."""

    def __init__(self) -> None:
        self.room = mmap.mmap(-1, 16)

    def read(self) -> tuple[int, int]:
        steps, flag = struct.unpack("qq", self.room[:16])
        return steps, flag

    def write_steps(self, steps: int) -> None:
        self.room[:8] = struct.pack("q", steps)

    def raise_flag(self) -> None:
        self.room[8:16] = struct.pack("q", 1)

    def clear(self) -> None:
        self.room[:16] = bytes(16)


def die() -> None:
    """End this process at once, as a pulled plug would."""
    os.kill(os.getpid(), signal.SIGKILL)


class Layer:
    """Counts the steps of this process and does its plan. Cannot be taken off again: for a child that ends."""

    def __init__(self, plan: Plan, counter: Counter) -> None:
        self.plan, self.counter, self.steps = plan, counter, 0
        self.lock, self.inside = threading.Lock(), threading.local()
        self.honest_write, self.honest_fsync = os.write, os.fsync
        self.gone = False

    def put_on(self) -> None:
        """Begin. Reading plans watch the card; all others whatever is written below the folder."""
        os.write, os.fsync = self.write, self.fsync
        sys.addaudithook(self.hook)
        self.watch_database()

    # Counting

    def step(self, kind: str) -> bool:
        """Count one; True when the plan wants this one to go wrong."""
        with self.lock:
            self.steps += 1
            self.counter.write_steps(self.steps)
            return self.plan.at > 0 and self.steps >= self.plan.at

    def ours(self, path: Any) -> bool:
        try:
            return os.fspath(path).startswith(self.plan.folder) if isinstance(path, str | os.PathLike) else False
        except TypeError:
            return False

    def hook(self, sequence: str, arguments: tuple[Any, ...]) -> None:
        if getattr(self.inside, "busy", False) or (sequence not in CHANGING and sequence not in READING):
            return
        self.inside.busy = True
        try:
            self.seen(sequence, arguments)
        finally:
            self.inside.busy = False

    def seen(self, sequence: str, arguments: tuple[Any, ...]) -> None:
        if self.plan.what in ("unreadable", "vanish"):
            if sequence in READING and self.ours(arguments[0]) and self.step(sequence):
                self.trouble_with_card()
            return
        if sequence == "open":
            path, _, flags = arguments
            if isinstance(flags, int) and flags & WRITING and self.ours(path) and self.step(sequence):
                self.worst("create" if not Path(path).exists() else "open")
        elif sequence in CHANGING and any(self.ours(arguments[k]) for k in CHANGING[sequence]) and self.step(sequence):
            self.worst(sequence)

    # Failing

    def worst(self, kind: str) -> None:
        if self.plan.what == "kill":
            die()
        if self.plan.what == "full" and kind in NEED_ROOM:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        if self.plan.what == "readonly":
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    def trouble_with_card(self) -> None:
        if self.plan.what == "unreadable":
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        if not self.gone:
            self.gone = True
            card = Path(self.plan.folder)
            card.rename(card.with_name(card.name + ".pulled"))

    def write(self, fd: int, data: Any) -> int:
        if self.plan.what in ("unreadable", "vanish") or fd <= 2 or not stat.S_ISREG(os.fstat(fd).st_mode):
            return self.honest_write(fd, data)
        if self.step("write"):
            if self.plan.what in ("kill", "full") and len(data) > 1:
                self.honest_write(fd, bytes(data)[: len(data) // 2])  # torn
            self.worst("write")
        return self.honest_write(fd, data)

    def fsync(self, fd: int) -> None:
        if self.plan.what not in ("unreadable", "vanish") and self.step("fsync"):
            self.worst("fsync")
        self.honest_fsync(fd)

    # The catalogue

    def watch_database(self) -> None:
        if self.plan.what in ("unreadable", "vanish"):
            return
        from django.db.backends.base.base import BaseDatabaseWrapper
        from django.db.backends.signals import connection_created

        def executed(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
            if sql.lstrip()[:6].upper() in ("INSERT", "UPDATE", "DELETE", "CREATE"):
                self.statement()
            return execute(sql, params, many, context)

        def opened(connection: Any, **_: Any) -> None:
            if executed not in connection.execute_wrappers:
                connection.execute_wrappers.append(executed)

        connection_created.connect(opened, weak=False)
        honest: Callable[[Any], None] = BaseDatabaseWrapper._commit  # type: ignore[attr-defined]

        def commit(connection: Any) -> None:
            self.statement()
            honest(connection)
            self.statement()

        BaseDatabaseWrapper._commit = commit  # type: ignore[attr-defined]

    def statement(self) -> None:
        if not self.step("sql"):
            return
        if self.plan.what == "kill":
            die()
        from django.db import OperationalError

        if self.plan.what == "full":
            raise OperationalError("database or disk is full")
        if self.plan.what == "readonly":
            raise OperationalError("attempt to write a readonly database")
