"""Who is at a data folder: every command says so, and making the catalogue anew needs it for itself alone.

    TROD_HOME/at-work/<name>.lock    held by the operating system as long as the process lives
    TROD_HOME/at-work/<name>.json    what it is: command, machine, process, since when

A command first puts up its own sign, then looks whether a rebuild is under way; a rebuild first takes its own
sign, of which there is one, then looks for all others. So of two that come at once at least one sees the other.
The lock dies with its holder: a sign left by a process that was killed is found free and taken away.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from trod.archive import disk
from trod.catalogue import home
from trod.errors import TrodError

FOLDER = "at-work"
REBUILD = "rebuild"
# Short commands end by themselves; a rebuild waits so long for them before it says who is in the way.
PATIENCE_S = 5.0


class InUse(TrodError):
    """Another process is at this data folder, and the two cannot be at it at once."""


@dataclass(frozen=True)
class Holder:
    """One process at a data folder. since : ISO 8601, or "" where its sign cannot be read."""

    command: str
    host: str
    pid: int
    since: str

    def __str__(self) -> str:
        since = f" since {self.since}" if self.since else ""
        return f"{self.command} (process {self.pid} on {self.host}{since})"


_mine: dict[Path, tuple[disk.Lock, Path]] = {}  # the sign of this process at each data folder


def _folder() -> Path:
    folder = home.home() / FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _put_up(name: str, command: str, *, wait_s: float = 0.0) -> disk.Lock:
    """Take a sign and write on it. Raises TimeoutError when another process has it."""
    folder = _folder()
    path = folder / f"{name}.lock"
    while True:
        lock = disk.Lock(path, wait_s=wait_s)
        lock.__enter__()
        if path.exists():
            break
        lock.__exit__()  # somebody took it for a dead one's in that moment, and away
    note = {
        "command": command,
        "host": socket.gethostname(),
        "pid": os.getpid(),
        "since": datetime.now(UTC).isoformat(timespec="seconds"),
    }
    try:
        disk.write_file(folder / f"{name}.json", (json.dumps(note) + "\n").encode())
    except BaseException:
        lock.__exit__()
        raise
    return lock


def _read(name: str) -> Holder:
    try:
        note = json.loads((_folder() / f"{name}.json").read_bytes())
        return Holder(str(note["command"]), str(note["host"]), int(note["pid"]), str(note["since"]))
    except (OSError, ValueError, KeyError, TypeError):
        return Holder("another Trod", "this machine", 0, "")


def _take_down(name: str) -> None:
    for tail in (".json", ".lock"):
        with contextlib.suppress(OSError):
            (_folder() / f"{name}{tail}").unlink(missing_ok=True)


def _is_held(name: str) -> bool:
    """Whether a living process has this sign; one that nobody has any more is taken away."""
    try:
        with disk.Lock(_folder() / f"{name}.lock", wait_s=0):
            if name != REBUILD:
                _take_down(name)
    except TimeoutError:
        return True
    return False


def others() -> list[Holder]:
    """The other processes that are at this data folder now."""
    own = _mine.get(home.home())
    names = sorted(path.stem for path in _folder().glob("*.lock") if own is None or path != own[1])
    return [_read(name) for name in names if name != REBUILD and _is_held(name)]


def rebuilding() -> Holder | None:
    """Who is making the catalogue anew now, if anybody is."""
    return _read(REBUILD) if (_folder() / f"{REBUILD}.lock").exists() and _is_held(REBUILD) else None


def sign_in(command: str) -> None:
    """Put up this process's sign, once; it comes down with the process. Raises InUse while a rebuild goes on."""
    place = home.home()
    if place in _mine:
        return
    name = f"{command.split()[-1].strip('-')}-{os.getpid()}-{uuid.uuid4().hex[:6]}"
    lock = _put_up(name, command, wait_s=5.0)
    who = rebuilding()
    if who is not None:
        lock.__exit__()
        _take_down(name)
        raise InUse(f"The catalogue is being made anew by {who}. Wait until it has ended, then try again.")
    _mine[place] = (lock, _folder() / f"{name}.lock")


@contextmanager
def alone(command: str, *, patience_s: float = PATIENCE_S) -> Iterator[None]:
    """Have the catalogue for this process alone, to make it anew. Raises InUse, saying who is at it."""
    try:
        lock = _put_up(REBUILD, command)
    except TimeoutError as problem:
        raise InUse(
            f"The catalogue is being made anew already, by {_read(REBUILD)}. Wait until that has ended."
        ) from problem
    try:
        who = _wait_for_others(patience_s)
        if who:
            raise InUse(
                f"{who[0]} is at this data folder{f', and {len(who) - 1} more' if len(who) > 1 else ''}. "
                "End it first (Ctrl-C, where it runs), then try again."
            )
        yield
    finally:
        with contextlib.suppress(OSError):
            (_folder() / f"{REBUILD}.json").unlink(missing_ok=True)
        lock.__exit__()


def _wait_for_others(patience_s: float) -> list[Holder]:
    until = time.monotonic() + patience_s
    while who := others():
        if time.monotonic() >= until or any(one.command.endswith(("serve", "--watch")) for one in who):
            return who
        time.sleep(0.1)
    return []
