"""The few ways this room touches a disk, each a small function that a test can make fail.

Nothing here knows what a bag or a card is. A step is *firm* when it would outlive a power cut:
bytes after `flush`, a name after `flush_folder`.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from trod.errors import ArchiveUnwritable, DiskFull

BUFFER_BYTES = 1 << 20  # measured: docs/measured.md, Import
NO_ROOM = {errno.ENOSPC, errno.EDQUOT} if hasattr(errno, "EDQUOT") else {errno.ENOSPC}
# Some file systems cannot flush a folder, or know no such thing; a name there is as firm as they make it.
CANNOT_FLUSH_FOLDER = {errno.EINVAL, errno.ENOTSUP, errno.EBADF, errno.EACCES, errno.EPERM, errno.EISDIR}

_O_BINARY = getattr(os, "O_BINARY", 0)
_O_CLOEXEC = getattr(os, "O_CLOEXEC", 0)
_O_NOFOLLOW = getattr(os, "O_NOFOLLOW", 0)
_O_NONBLOCK = getattr(os, "O_NONBLOCK", 0)
_O_NOATIME = getattr(os, "O_NOATIME", 0)


def open_source(path: Path) -> int:
    """A descriptor to read a file of the source, leaving not even an access time behind where that can be.

    Raises OSError; ELOOP or EINVAL when the path is a link or no plain file.
    """
    flags = os.O_RDONLY | _O_BINARY | _O_CLOEXEC | _O_NOFOLLOW | _O_NONBLOCK
    try:
        fd = os.open(path, flags | _O_NOATIME)
    except PermissionError:  # only a file's owner may ask for O_NOATIME
        fd = os.open(path, flags)
    if not stat.S_ISREG(os.fstat(fd).st_mode):
        os.close(fd)
        raise OSError(errno.EINVAL, "not a plain file", str(path))
    return fd


def list_folder(folder: Path) -> tuple[list[os.DirEntry[str]], OSError | None]:
    """What lies in a folder of the source, by name, and what ended the listing before its end, if anything did."""
    found: list[os.DirEntry[str]] = []
    trouble = None
    try:
        with os.scandir(folder) as items:
            for item in items:
                found.append(item)
    except OSError as problem:
        trouble = problem
    return sorted(found, key=lambda item: item.name), trouble


def is_read_only(folder: Path) -> bool | None:
    """Whether the file system of a folder takes no writing; None where the system does not tell."""
    if not hasattr(os, "statvfs"):
        return None
    try:
        return bool(os.statvfs(folder).f_flag & os.ST_RDONLY)
    except OSError:
        return None


def open_read(path: Path) -> int:
    """A descriptor to read a file of the archive; a link is refused."""
    return os.open(path, os.O_RDONLY | _O_BINARY | _O_CLOEXEC | _O_NOFOLLOW)


def create(path: Path) -> int:
    """A descriptor to write (and look back into) a file that is not there yet, for its owner alone."""
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | _O_BINARY | _O_CLOEXEC, 0o600)


def write(fd: int, data: bytes | bytearray | memoryview) -> None:
    """Write all of `data`."""
    view = memoryview(data)
    while view:
        view = view[os.write(fd, view) :]


def flush(fd: int) -> None:
    """Make the bytes of an open file firm. macOS needs to be asked twice to empty the drive's own cache."""
    if sys.platform == "darwin":
        import fcntl

        with contextlib.suppress(OSError):
            fcntl.fcntl(fd, fcntl.F_FULLFSYNC)
            return
    os.fsync(fd)


def flush_folder(folder: Path) -> None:
    """Make the names in a folder firm; on Windows there is no such step."""
    if os.name == "nt":
        return
    fd = os.open(folder, os.O_RDONLY | _O_CLOEXEC)
    try:
        os.fsync(fd)
    except OSError as problem:
        if problem.errno not in CANNOT_FLUSH_FOLDER:
            raise
    finally:
        os.close(fd)


def drop_cache(fd: int) -> None:
    """Ask the system to forget its copy of a flushed file, so that the next read comes from the disk itself.

    Linux only; elsewhere a read-back may be answered from memory.
    """
    if hasattr(os, "posix_fadvise"):
        with contextlib.suppress(OSError):
            os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)


def rename(old: Path, new: Path) -> None:
    """Give a file or folder its name in one step. A file of that name is replaced."""
    old.replace(new)


def remove(path: Path) -> None:
    """Take one file away; one that is not there is no trouble."""
    path.unlink(missing_ok=True)


def remove_folder(folder: Path) -> None:
    """Take one empty folder away; one that is not there is no trouble."""
    with contextlib.suppress(FileNotFoundError):
        folder.rmdir()


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, each name firm, for their owner alone."""
    missing: list[Path] = []
    at = folder
    while not at.is_dir():
        missing.append(at)
        at = at.parent
    for new in reversed(missing):
        with contextlib.suppress(FileExistsError):
            new.mkdir(mode=0o700)
        flush_folder(new.parent)


def write_file(path: Path, data: bytes) -> None:
    """Write a small file whole or not at all, and firm: aside, flush, rename, flush the folder.

    It is readable by its owner alone (mode 0600) before the first byte is in it. Disks without modes ignore that.
    """
    put_in_place(write_aside(path, data), path)


def write_aside(path: Path, data: bytes) -> Path:
    """The first half of `write_file`: all bytes firm, under another name, which is returned."""
    aside = path.with_name(path.name + ".new")
    remove(aside)
    fd = create(aside)
    try:
        write(fd, data)
        flush(fd)
    finally:
        os.close(fd)
    return aside


def put_in_place(aside: Path, path: Path) -> None:
    """The second half of `write_file`: the name, in one step, and firm."""
    rename(aside, path)
    flush_folder(path.parent)


def link(old: Path, new: Path) -> None:
    """Give the bytes of a small file a second name, firm. Where the disk knows no such thing, they are copied."""
    try:
        os.link(old, new)
    except FileExistsError:
        return
    except OSError:
        write_file(new, old.read_bytes())
    else:
        flush_folder(new.parent)


def overwrite(path: Path, at: int, data: bytes) -> None:
    """Overwrite a few bytes in the middle of a file. They are not made firm."""
    fd = os.open(path, os.O_WRONLY | _O_BINARY | _O_CLOEXEC)
    try:
        os.lseek(fd, at, os.SEEK_SET)
        write(fd, data)
    finally:
        os.close(fd)


def append(path: Path, data: bytes) -> None:
    """Append to a file and make it firm. A first append makes the name firm too."""
    new = not path.exists()
    fd = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | _O_BINARY | _O_CLOEXEC, 0o600)
    try:
        write(fd, data)
        flush(fd)
    finally:
        os.close(fd)
    if new:
        flush_folder(path.parent)


def truncate(path: Path, size_bytes: int) -> None:
    """Cut the end of a file off, firm."""
    fd = os.open(path, os.O_RDWR | _O_BINARY | _O_CLOEXEC)
    try:
        os.ftruncate(fd, size_bytes)
        flush(fd)
    finally:
        os.close(fd)


def whole_lines(data: bytes) -> tuple[list[bytes], bytes]:
    """The lines of an append-only file that end in a newline, and what stands after the last newline."""
    *lines, torn = data.split(b"\n")
    return lines, torn


@contextlib.contextmanager
def trouble_told(where: Path, doing: str) -> Iterator[None]:
    """Turn what the system says about writing below `where` into one of our own errors."""
    try:
        yield
    except OSError as problem:
        if problem.errno in NO_ROOM:
            raise DiskFull(
                f"No room left on the disk of {where} while {doing}. What was done is kept. "
                "Make room there, then resume."
            ) from problem
        raise ArchiveUnwritable(
            f"{where} cannot be written while {doing}: {problem.strerror or problem}. What was done is kept. "
            "See that the disk is there and may be written, then resume."
        ) from problem


class Lock:
    """A lock between processes that dies with its holder. Use as a context manager.

    path : a file that is made for it and left behind, empty.
    wait_s : how long to wait for another holder. Raises TimeoutError after that.
    """

    def __init__(self, path: Path, *, wait_s: float = 30.0) -> None:
        self.path, self.wait_s = path, wait_s
        self._file: IO[bytes] | None = None

    def __enter__(self) -> Lock:
        until = time.monotonic() + self.wait_s
        while True:
            file = os.fdopen(os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | _O_CLOEXEC, 0o600), "ab")
            while not _try_lock(file.fileno()):
                if time.monotonic() >= until:
                    file.close()
                    raise TimeoutError(f"{self.path} is held by another process")
                time.sleep(0.02)
            with contextlib.suppress(FileNotFoundError):
                if os.path.samestat(os.fstat(file.fileno()), self.path.stat()):
                    self._file = file
                    return self
            file.close()  # its last holder took the file away meanwhile

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            self._file.close()  # closing lets go
            self._file = None


if sys.platform == "win32":
    import msvcrt

    def _try_lock(fd: int) -> bool:
        os.lseek(fd, 0, os.SEEK_SET)
        try:
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl as _fcntl

    def _try_lock(fd: int) -> bool:
        try:
            _fcntl.flock(fd, _fcntl.LOCK_EX | _fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):
            return False
        return True
