"""The copying of an import: one read of the source per file, and groups of copies made firm together."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import threading
from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from trod.archive import disk
from trod.archive.card import Entry
from trod.archive.content import DAMAGE, Kind, Problem, look_inside
from trod.archive.making import INCOMING, Item, Making, really_there
from trod.archive.manifest import hash_open
from trod.archive.names import printable
from trod.errors import FileChanged, FileUnreadable, SourceVanished, Stopped

# Measured: docs/measured.md, Import.
GROUP_FILES = 32
GROUP_BYTES = 96 << 20
FLUSHERS = 4  # waiting for the disk, mostly

# What the look at the card said that the copy's own bytes cannot say.
OF_THE_NAME = (Problem.HOSTILE_NAME, Problem.FOLDER_NUMBER_TWICE)
# What a second try cannot change.
FOR_GOOD = {errno.ENOENT, errno.EACCES, errno.EPERM, errno.ELOOP, errno.EINVAL, 0}

AlreadyHave = Callable[[str], "str | Iterable[str] | None"]
T = TypeVar("T")
Foreign = Callable[[Entry], bool]


class ReadFailed(Exception):
    """The source would not give a file. what : the word for it, see `verdict`."""

    def __init__(self, problem: OSError, what: str = "unreadable") -> None:
        super().__init__(str(problem))
        self.problem = problem
        self.what = "gone" if isinstance(problem, FileNotFoundError) else what


class Unsettled(Exception):
    """A file was being written while it was read."""


@dataclass
class Part:
    """A copy that is written and not yet firm."""

    item: Item
    path: Path
    fd: int
    sha256: str
    size_bytes: int
    mtime_ns: int
    kind: Kind
    problems: tuple[Problem, ...]
    foreign: bool = False

    @property
    def told(self) -> list[str]:
        """All there is to tell of the file."""
        of_the_name = [p for p in self.item.entry.problems if p in OF_THE_NAME]
        return [str(p) for p in dict.fromkeys((*of_the_name, *self.problems))]

    def close(self) -> None:
        if self.fd >= 0:
            os.close(self.fd)
            self.fd = -1


class Copier:
    """Copies files of the source into parts, in worker threads."""

    def __init__(self, making: Making, source: Path) -> None:
        self.making, self.source = making, source
        self.real_source = source.resolve()
        self.halt = threading.Event()
        self.bytes_read = 0
        self._mine = threading.local()
        self._parents: dict[Path, bool] = {}
        self.read_well: deque[Path] = deque(maxlen=3)  # to ask whether the source still answers

    def copy(self, item: Item, number: int) -> Part:
        """Copy and hash: one read of the source, and a second where the first gave something damaged or nothing.

        Raises ReadFailed, Unsettled, Stopped, or the OSError of the archive's disk.
        """
        place = self.making.parts / f"{number:06d}"
        told: tuple[Problem, ...] = ()
        try:
            part = self._copy(item, place)
        except Unsettled:
            part = self._copy(item, place)
        except ReadFailed as failed:
            if failed.problem.errno in FOR_GOOD:
                raise
            part, told = self._copy(item, place), (Problem.READ_ERROR,)
        if not DAMAGE.isdisjoint(part.problems):
            part, doubt = self._read_again(item, part)
            told += doubt
        if part.size_bytes != item.entry.size_bytes:
            told += (Problem.CHANGED_SIZE,)
        part.problems = tuple(dict.fromkeys((*part.problems, *told)))
        return part

    def _read_again(self, item: Item, part: Part) -> tuple[Part, tuple[Problem, ...]]:
        """A copy seems damaged: whether the card has it so, or only gave it so this time, a second reading tells."""
        place = part.path
        try:
            fd = disk.open_source(self.place_of(item))
            try:
                disk.drop_cache(fd)
                same = hash_open(fd) == (part.sha256, part.size_bytes)
            finally:
                os.close(fd)
        except OSError:
            return part, (Problem.READ_ERROR,)
        if same:
            return part, ()
        part.close()
        return self._copy(item, place), (Problem.UNSTABLE,)

    def place_of(self, item: Item) -> Path:
        """Where a file lies on the source."""
        return self.source.joinpath(*item.entry.path.split("/"))

    def _copy(self, item: Item, part: Path) -> Part:
        path = self.place_of(item)
        self._check_parent(path.parent)
        try:
            source_fd = disk.open_source(path)
        except OSError as problem:
            raise ReadFailed(problem) from problem
        fd, done = -1, False
        try:
            before = os.fstat(source_fd)
            disk.remove(part)
            fd = disk.create(part)
            sha256, size_bytes = self._pour(source_fd, fd)
            after = os.fstat(source_fd)
            if (after.st_size, after.st_mtime_ns) == (before.st_size, before.st_mtime_ns) and (
                size_bytes < after.st_size
            ):
                short = f"ended after {size_bytes} of {after.st_size} bytes"
                raise ReadFailed(OSError(errno.EIO, short), "short-read")
            if (after.st_size, after.st_mtime_ns) != (size_bytes, before.st_mtime_ns):
                raise Unsettled
            look = look_inside(fd, item.entry.path, size_bytes)
            os.utime(part, ns=(after.st_mtime_ns, after.st_mtime_ns))
            done = True
            if size_bytes:
                self.read_well.append(path)
        finally:
            os.close(source_fd)
            if not done and fd >= 0:
                os.close(fd)
                disk.remove(part)
        kind = look.kind if look.kind in ("picture", "clip") else item.entry.kind
        return Part(item, part, fd, sha256, size_bytes, after.st_mtime_ns, kind, look.problems)

    def _pour(self, source_fd: int, fd: int) -> tuple[str, int]:
        buffer: bytearray | None = getattr(self._mine, "buffer", None)
        if buffer is None:
            buffer = self._mine.buffer = bytearray(disk.BUFFER_BYTES)
        view, digest, size_bytes = memoryview(buffer), hashlib.sha256(), 0
        with open(source_fd, "rb", buffering=0, closefd=False) as file:
            while True:
                if self.halt.is_set():
                    raise Stopped("Stopped.")
                try:
                    count = file.readinto(buffer)
                except OSError as problem:
                    raise ReadFailed(problem) from problem
                if not count:
                    return digest.hexdigest(), size_bytes
                digest.update(view[:count])
                disk.write(fd, view[:count])
                size_bytes += count
                self.bytes_read += count  # a lost update between threads only makes the bar a little late

    def _check_parent(self, parent: Path) -> None:
        """A folder that has become a link since the scan is not followed out of the source."""
        inside = self._parents.get(parent)
        if inside is None:
            real = parent.resolve()
            inside = real == self.real_source or self.real_source in real.parents
            self._parents[parent] = inside
        if not inside:
            raise ReadFailed(OSError(0, "leads out of the source"))


class Group:
    """Copies that are made firm and entered in the journal together."""

    def __init__(self, making: Making, copier: Copier, already_have: AlreadyHave, foreign: Foreign | None) -> None:
        self.making, self.copier, self.already_have, self.foreign = making, copier, already_have, foreign
        self.pool = ThreadPoolExecutor(FLUSHERS, thread_name_prefix="trod-flush")
        self.parts: list[Part] = []
        self.twins: list[dict[str, Any]] = []
        self.kept = {line["sha256"]: to for to, line in making.done.items() if line["what"] == "copied"}
        self.ready_folders: set[Path] = set()

    def add(self, part: Part) -> None:
        """Take over a fresh copy; one whose bytes the archive has already is let go again."""
        within = part.sha256 in self.kept
        where = f"{self.making.bag_path}/{self.kept[part.sha256]}" if within else self._found(part)
        if where is None:
            self.kept.setdefault(part.sha256, part.item.to)
            if self.foreign is not None:
                with contextlib.suppress(OSError):  # it may want to look into the source, which may be gone
                    part.foreign = self.foreign(part.item.entry)
            self.parts.append(part)
            return
        part.close()
        disk.remove(part.path)
        self.twins.append(
            {"what": "twin", "to": part.item.to, "sha256": part.sha256, "size_bytes": part.size_bytes,
             "where": where, "within": within, "problems": part.told}
        )  # fmt: skip

    def _found(self, part: Part) -> str | None:
        """Where in the archive these bytes lie already, of all places that are known the first where they do."""
        known = self.already_have(part.sha256)
        for where in (known,) if isinstance(known, str) else known or ():
            if really_there(self.making, where, part.sha256, part.size_bytes, self.making.read_back):
                return where
        return None

    @property
    def full(self) -> bool:
        if len(self.parts) + len(self.twins) >= GROUP_FILES:
            return True
        return sum(p.size_bytes for p in self.parts) >= GROUP_BYTES

    def commit(self) -> None:
        """Flush, read back, rename, flush the folders; only then enter the lines.

        Where a step fails the whole group is let go, to be taken anew: after a flush that failed once, Linux
        may call a second one a success although the bytes are gone.
        """
        try:
            if self.parts or self.twins:
                self._commit(self.parts, self.twins)
            self.parts, self.twins = [], []
        except BaseException:
            self.drop()
            raise

    def _commit(self, parts: list[Part], twins: list[dict[str, Any]]) -> None:
        self._all(self._flush, parts)
        if self.making.read_back:
            for part, reason in zip(parts, self._all(self._reads_back, parts), strict=True):
                if reason is not None:
                    self._copy_again(part, reason)
        folders: dict[Path, None] = {}
        for part in parts:
            part.close()
            target = self.making.below_bag(part.item.to)
            if target.parent not in self.ready_folders:
                disk.make_folder(target.parent)
                self.ready_folders.add(target.parent)
            disk.rename(part.path, target)
            folders[target.parent] = None
        for folder in folders:
            disk.flush_folder(folder)
        lines = []
        for part in parts:
            lines.append(
                {"what": "copied", "to": part.item.to, "sha256": part.sha256, "size_bytes": part.size_bytes,
                 "mtime_ns": part.mtime_ns, "kind": part.kind, "problems": part.told,
                 "foreign": part.foreign, "read_back": self.making.read_back}
            )  # fmt: skip
        self.making.enter([*lines, *twins])

    def _all(self, step: Callable[[Part], T], parts: list[Part]) -> list[T]:
        """Do a step for several parts at a time, as a disk likes it; end only when all are done."""
        futures = [self.pool.submit(step, part) for part in parts]
        wait(futures)
        return [future.result() for future in futures]

    def _flush(self, part: Part) -> None:
        disk.flush(part.fd)

    def _reads_back(self, part: Part) -> str | None:
        """None when the disk gives back what was written, else what it gave."""
        try:
            disk.drop_cache(part.fd)
            os.lseek(part.fd, 0, os.SEEK_SET)
            sha256, size_bytes = hash_open(part.fd)
        except OSError as problem:
            return problem.strerror or str(problem)
        return None if (sha256, size_bytes) == (part.sha256, part.size_bytes) else "other bytes came back"

    def _copy_again(self, part: Part, reason: str) -> None:
        """A second try for a copy that did not read back; after that the disk is not to be trusted."""
        number = int(part.path.name)
        part.close()
        disk.remove(part.path)
        try:
            again = self.copier.copy(part.item, number)
        except (ReadFailed, Unsettled) as problem:
            raise SourceVanished(
                f"{printable(part.item.entry.path)} did not read back from the archive and could not be read "
                "again from the source. What was done is kept. Put the card in again and resume."
            ) from problem
        part.fd, part.sha256, part.size_bytes = again.fd, again.sha256, again.size_bytes
        part.mtime_ns, part.kind, part.problems = again.mtime_ns, again.kind, again.problems
        disk.flush(part.fd)
        second = self._reads_back(part)
        if second is not None:
            where = f"{INCOMING}/{self.making.name}/{part.item.to}"
            if second == "other bytes came back":
                raise FileChanged(where, "the disk twice gave back other bytes than were written")
            raise FileUnreadable(where, second if second == reason else f"{reason}; then {second}")

    def close(self) -> None:
        """Let go of everything."""
        self.pool.shutdown(wait=True)
        self.drop()

    def drop(self) -> None:
        """Let go of all copies that are not entered yet, and of the room they take."""
        for part in self.parts:
            part.close()
            with contextlib.suppress(OSError):
                disk.remove(part.path)
        self.parts, self.twins = [], []
