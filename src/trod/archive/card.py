"""What lies on a card, or in any folder of pictures. Looks only; never writes to it.

Names by the Design rule for Camera File system (CIPA DC-009-2010, "DCF"): below `DCIM`, folders of three
digits 100-999 and five of [0-9A-Z_]; files of four of [0-9A-Z_] and four digits 0001-9999. Files of one stem
belong together ("one object"). After 9999 a camera begins again in a new folder, so names repeat on a card
and a name alone is never a key.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
import stat
import string
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from trod.archive import disk
from trod.archive.content import SYSTEM_FOLDERS, Kind, Problem, is_recovered, kind_of, look_inside
from trod.archive.names import is_hostile, printable
from trod.errors import CardTrouble, SourceVanished, Stopped

Progress = Callable[[int, int], None]
Stop = Callable[[], bool]

_DCF_FOLDER = re.compile(r"([1-9][0-9]{2})[0-9A-Z_]{5}", re.ASCII | re.IGNORECASE)
_DCF_FILE = re.compile(r"[0-9A-Z_]{4}([0-9]{4})\.[0-9A-Z_]{3}", re.ASCII | re.IGNORECASE)
_DIGITS = re.compile(r"([0-9]+)")


@dataclass(frozen=True)
class Entry:
    """One file of a card.

    path : below the source, with forward slashes, exactly as the disk names it (bytes that are no UTF-8 stand
        as lone surrogates, as `os.fsdecode` makes them).
    mtime_ns : when the file was last changed, as the disk says. [ns since 1970]
    dcf_folder, dcf_number : 100-999 and 1-9999 where the path follows DCF, else None.
    companion : a file of another kind that belongs to a picture or clip of the same stem (a sound note).
    recovered : it lies where a disk repair put what it found.
    """

    path: str
    size_bytes: int
    mtime_ns: int
    kind: Kind
    dcf_folder: int | None = None
    dcf_number: int | None = None
    companion: bool = False
    recovered: bool = False
    problems: tuple[Problem, ...] = ()

    @property
    def taken(self) -> bool:
        """Whether an import copies this file."""
        return self.kind in ("picture", "clip") or self.companion or self.recovered

    @property
    def name(self) -> str:
        return self.path.rsplit("/", 1)[-1]

    @property
    def stem_path(self) -> str:
        """The path without its ending and without regard to case: equal for the files of one DCF object."""
        head, _, name = self.path.rpartition("/")
        return f"{head}/{name.rpartition('.')[0] or name}".upper()


@dataclass(frozen=True)
class CardListing:
    """What one look at a card found, in natural order: DCF folder, then number, then all else by name.

    notes : what a person should know of the whole (a folder that cannot be read…), in sentences.
    trouble : (what, path) of folders that could not be looked into, in the words of `verdict`.
    waiting : paths of files that are left for later, for the folder is still being filled. None: all of it is here.
    """

    source: Path
    entries: tuple[Entry, ...]
    notes: tuple[str, ...] = ()
    trouble: tuple[tuple[str, str], ...] = ()
    waiting: tuple[str, ...] | None = None

    @property
    def taken(self) -> tuple[Entry, ...]:
        """The files an import copies."""
        return tuple(e for e in self.entries if e.taken)

    @property
    def left(self) -> tuple[Entry, ...]:
        """The files an import leaves where they are."""
        return tuple(e for e in self.entries if not e.taken)

    @property
    def size_bytes(self) -> int:
        """Bytes an import would read."""
        return sum(e.size_bytes for e in self.entries if e.taken)

    def count(self, kind: Kind) -> int:
        return sum(e.kind == kind for e in self.entries)

    def place_of(self, entry: Entry) -> Path:
        """Where the file of an entry lies."""
        return self.source.joinpath(*entry.path.split("/"))


@dataclass(frozen=True)
class MountedCard:
    """A place where a card seems to be plugged in."""

    path: Path
    label: str
    total_bytes: int
    free_bytes: int
    has_dcim: bool = field(default=False)


def dcf_of(path: str) -> tuple[int, int] | None:
    """Folder and file number of a path that follows DCF (`…/DCIM/100MEADW/MEAD0001.JPG`), else None."""
    parts = path.split("/")
    if len(parts) < 3 or parts[-3].upper() != "DCIM":
        return None
    folder, file = _DCF_FOLDER.fullmatch(parts[-2]), _DCF_FILE.fullmatch(parts[-1])
    if folder is None or file is None or int(file[1]) == 0:
        return None
    return int(folder[1]), int(file[1])


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sorts 2 before 10, and does not regard case except to break a tie."""
    parts = _DIGITS.split(text.casefold())
    return tuple((0, int(t), "") if t.isascii() and t.isdigit() else (1, 0, t) for t in parts)


def _order(entry: Entry) -> tuple[object, ...]:
    if entry.dcf_folder is None:
        return (1, natural_key(entry.path), entry.path)
    folder, name = entry.path.rpartition("/")[0], natural_key(entry.name)
    return (0, entry.dcf_folder, folder, entry.dcf_number, name, entry.path)


def is_link(item: os.DirEntry[str], status: os.stat_result) -> bool:
    """A symbolic link, or on Windows any other point that leads elsewhere (a junction)."""
    attributes = getattr(status, "st_file_attributes", 0)
    return item.is_symlink() or bool(attributes & getattr(stat, "FILE_ATTRIBUTE_REPARSE_POINT", 0x400))


@dataclass
class _Walk:
    """One walk over a source. notes, trouble : as in CardListing."""

    source: Path
    notes: list[str] = field(default_factory=list)
    trouble: list[tuple[str, str]] = field(default_factory=list)

    def files(self) -> Iterator[tuple[str, os.stat_result | None, Problem | None]]:
        """Every file with its path, its state and what is wrong with it. Raises CardTrouble, SourceVanished."""
        todo: list[tuple[str, tuple[tuple[int, int], ...]]] = [("", ())]
        while todo:
            folder, above = todo.pop()
            items, problem = disk.list_folder(self.source / folder if folder else self.source)
            if problem is not None:
                self._unread(folder, problem, some=bool(items))
            for item in items:
                path = f"{folder}/{item.name}" if folder else item.name
                try:
                    status = item.stat(follow_symlinks=False)
                    if is_link(item, status):
                        yield path, status, Problem.LINK
                    elif item.is_dir(follow_symlinks=False):
                        here = _identity(Path(item.path))  # a spoilt table can make a folder its own child
                        if here[1] and here in above:
                            self.trouble.append(("folder-loop", path))
                            self.notes.append(
                                f"The folder {printable(path)} leads back into itself and was not followed."
                            )
                        else:
                            todo.append((path, (*above, here)))
                    elif item.is_file(follow_symlinks=False):
                        yield path, status, None
                    else:
                        yield path, status, Problem.SPECIAL
                except OSError:
                    yield path, None, Problem.UNREADABLE
        if self.trouble and not self.source.is_dir():
            raise SourceVanished(
                f"{self.source} stopped answering while it was looked through. Nothing was copied. "
                "Put the card in again and begin anew."
            )

    def _unread(self, folder: str, problem: OSError, *, some: bool) -> None:
        reason = problem.strerror or str(problem)
        if not folder and not some:
            raise CardTrouble(
                f"{self.source} cannot be read: {reason}. Give the folder of a plugged-in card."
            ) from problem
        closed = problem.errno in (errno.EACCES, errno.EPERM)
        if closed and any(part.lower() in SYSTEM_FOLDERS for part in folder.split("/")):
            self.trouble.append(("system-folder-unread", folder))
            return
        name = printable(folder) or "of the card itself"
        seen = "some of its files are not seen" if some else "its files are not seen"
        self.trouble.append(("folder-unread", folder))
        self.notes.append(f"The folder {name} cannot be read ({reason}); {seen}.")


def _identity(folder: Path) -> tuple[int, int]:
    """What tells a folder from all others; 0, 0 where the system does not say."""
    status = folder.stat()
    return status.st_dev, status.st_ino


def changes_since(listing: CardListing) -> list[tuple[str, str]]:
    """Look at a source once more: (what, path) of all that came, went or changed since it was listed.

    What systems write for themselves does not count. Of a folder that is still being filled only the files that
    were listed are held against their state.
    """
    walk = _Walk(listing.source)
    before = {e.path: e for e in listing.entries}
    held = {e.path for e in listing.entries if e.taken or e.kind == "other"}
    held -= {e.path for e in listing.entries if Problem.UNREADABLE in e.problems}
    changed: list[tuple[str, str]] = []
    gone = set(held)
    try:
        for path, status, problem in walk.files():
            gone.discard(path)
            old = before.get(path)
            if old is None:
                if problem is None and listing.waiting is None and kind_of(path) != "ignored":
                    changed.append(("folder-changed", path))
            elif status is not None and path in held and not _is_as(old, status):
                changed.append(("folder-changed", path))
    except CardTrouble:
        return [("not-looked-again", "")]
    known = set(listing.trouble)
    return [*changed, *(("folder-changed", p) for p in sorted(gone)), *(t for t in walk.trouble if t not in known)]


def _is_as(entry: Entry, status: os.stat_result) -> bool:
    return (status.st_size, status.st_mtime_ns) == (entry.size_bytes, entry.mtime_ns)


def scan(
    source: Path, *, inside: bool = True, progress: Progress | None = None, stop: Stop | None = None
) -> CardListing:
    """List what lies on a card or in any folder, without following links and without writing.

    source : the folder of a card, or any other.
    inside : also read the first and last bytes of each file (two short reads) for empty, misnamed and broken
        off files. An import looks by itself at what it copied, so a listing for it may go without; then only
        files whose names tell of no picture are looked into, for they may be one all the same.
    progress : called with (files looked into, files found).
    stop : asked between files; when it says True, Stopped is raised.
    Raises CardTrouble when `source` is no readable folder, SourceVanished when it goes away meanwhile.
    """
    source = Path(source)
    if not source.is_dir():
        raise CardTrouble(f"{source} is not a folder that can be read. Give the folder of a plugged-in card.")
    walk = _Walk(source)
    context = "/".join(source.resolve().parts[-2:])  # so that DCIM, or 100MEADW itself, may be the source
    entries: list[Entry] = []
    for path, status, problem in walk.files():
        if stop is not None and stop():
            raise Stopped("Looking through the card was stopped. Nothing was copied.")
        folder, number = dcf_of(f"{context}/{path}") or (None, None)
        kind = kind_of(path)
        problems: tuple[Problem, ...] = () if problem is None else (problem,)
        if problem in (Problem.LINK, Problem.SPECIAL):
            kind = "ignored"
        if is_hostile(path):
            problems += (Problem.HOSTILE_NAME,)
        size_bytes, mtime_ns = (status.st_size, status.st_mtime_ns) if status else (0, 0)
        recovered = problem is None and is_recovered(path)
        entries.append(Entry(path, size_bytes, mtime_ns, kind, folder, number, recovered=recovered, problems=problems))
    entries = _looked_into(source, entries, inside, progress, stop)
    entries = _with_companions(entries)
    notes = walk.notes
    entries = _with_shared_numbers(entries, notes)
    entries.sort(key=_order)
    return CardListing(source, tuple(entries), tuple(notes), tuple(walk.trouble))


_SEEN_BY_THE_WALK = frozenset({Problem.LINK, Problem.SPECIAL, Problem.UNREADABLE})


def _looked_into(
    source: Path, entries: list[Entry], inside: bool, progress: Progress | None, stop: Stop | None
) -> list[Entry]:
    result = []
    for done, entry in enumerate(entries, 1):
        if stop is not None and stop():
            raise Stopped("Looking through the card was stopped. Nothing was copied.")
        named = entry.kind in ("picture", "clip")
        if _SEEN_BY_THE_WALK.isdisjoint(entry.problems) and (inside if named else entry.size_bytes > 0):
            try:
                fd = disk.open_source(source.joinpath(*entry.path.split("/")))
                try:
                    look = look_inside(fd, entry.path, entry.size_bytes)
                finally:
                    os.close(fd)
                entry = replace(entry, kind=look.kind, problems=(*entry.problems, *look.problems))
            except OSError as problem:
                if not source.is_dir():
                    raise SourceVanished(
                        f"{source} stopped answering while it was looked through. Nothing was copied. "
                        "Put the card in again and begin anew."
                    ) from problem
                entry = replace(entry, problems=(*entry.problems, Problem.UNREADABLE))
        result.append(entry)
        if progress is not None:
            progress(done, len(entries))
    return result


def _with_companions(entries: list[Entry]) -> list[Entry]:
    stems = {e.stem_path for e in entries if e.kind in ("picture", "clip")}
    return [replace(e, companion=True) if e.kind == "other" and e.stem_path in stems else e for e in entries]


def _with_shared_numbers(entries: list[Entry], notes: list[str]) -> list[Entry]:
    """DCF forbids two folders of one number; where it happens, say so."""
    named = {(e.dcf_folder, e.path.rpartition("/")[0]) for e in entries if e.dcf_folder is not None}
    counts = Counter(number for number, _ in named)
    twice = {number for number, count in counts.items() if count > 1}
    for number in sorted(n for n in twice if n is not None):
        folders = ", ".join(sorted(printable(path) for n, path in named if n == number))
        notes.append(f"Folder number {number} is borne by several folders: {folders}. All are taken.")
    return [
        replace(e, problems=(*e.problems, Problem.FOLDER_NUMBER_TWICE)) if e.dcf_folder in twice else e for e in entries
    ]


# Where cards are plugged in -------------------------------------------------------------------------------

_LINUX_HOMES = ("/media/", "/run/media/", "/mnt/")
_MOUNT_ESCAPE = re.compile(rb"\\([0-7]{3})")


def linux_mounts(mounts: bytes, removable: Callable[[str], bool]) -> list[str]:
    """The mount points of cards in the bytes of /proc/mounts, where blanks and the like stand as \\040.

    removable : tells of a device (/dev/…) whether its medium can be taken out.
    """
    points = []
    for line in mounts.splitlines():
        words = [_MOUNT_ESCAPE.sub(lambda m: bytes([int(m[1], 8) & 255]), w) for w in line.split(b" ")]
        if len(words) < 3:
            continue
        device, point = os.fsdecode(words[0]), os.fsdecode(words[1])
        if f"{point}/".startswith(_LINUX_HOMES) or (device.startswith("/dev/") and removable(device)):
            points.append(point)
    return points


def _is_removable(device: str) -> bool:
    """What Linux says of a block device; of a partition its disk is asked."""
    try:
        place = Path("/sys/class/block", Path(device).name).resolve(strict=True)
        for at in (place, place.parent):
            if (at / "removable").exists():
                return (at / "removable").read_text().strip() == "1"
    except OSError:
        pass
    return False


def _windows_drives() -> list[str]:
    if sys.platform != "win32":
        return []
    import ctypes

    kernel = ctypes.windll.kernel32
    bits = kernel.GetLogicalDrives()
    drives = [f"{c}:\\" for i, c in enumerate(string.ascii_uppercase) if bits >> i & 1]
    removable = 2  # DRIVE_REMOVABLE of GetDriveTypeW
    return [d for d in drives if kernel.GetDriveTypeW(d) == removable or Path(d, "DCIM").is_dir()]


def mounted_cards(environ: Mapping[str, str] | None = None) -> list[MountedCard]:
    """The cards and other removable disks that are plugged in, those with a DCIM folder first.

    environ : in place of the process's own; TROD_CARD_ROOTS in it names more card folders, parted as in PATH.
    """
    environ = os.environ if environ is None else environ
    places = [p for p in environ.get("TROD_CARD_ROOTS", "").split(os.pathsep) if p]
    if sys.platform == "win32":
        places += _windows_drives()
    elif sys.platform == "darwin":
        with os.scandir("/Volumes") as found:
            places += sorted(v.path for v in found if v.is_dir() and not Path(v.path).samefile("/"))
    else:
        mounts = Path("/proc/mounts")
        if mounts.exists():
            places += linux_mounts(mounts.read_bytes(), _is_removable)
    cards = []
    for place in dict.fromkeys(places):
        path = Path(place)
        try:
            if not path.is_dir():
                continue
            room = shutil.disk_usage(path)
            has_dcim = any(c.name.upper() == "DCIM" and c.is_dir() for c in path.iterdir())
        except OSError:
            continue  # pulled at this very moment, or not ours to read
        cards.append(MountedCard(path, path.name or str(path), room.total, room.free, has_dcim))
    return sorted(cards, key=lambda card: (not card.has_dcim, str(card.path)))
