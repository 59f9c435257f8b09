"""What lies on a card, or in any folder of pictures. Looks only; never writes to it.

Names by the Design rule for Camera File system (CIPA DC-009-2010, "DCF"): below `DCIM`, folders of three
digits 100-999 and five of [0-9A-Z_]; files of four of [0-9A-Z_] and four digits 0001-9999. Files of one stem
belong together ("one object"). After 9999 a camera begins again in a new folder, so names repeat on a card
and a name alone is never a key.
"""

from __future__ import annotations

import enum
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
from typing import Literal

from trod.archive import disk
from trod.archive.names import is_hostile, printable
from trod.errors import CardTrouble, SourceVanished, Stopped

Kind = Literal["picture", "clip", "other", "ignored"]
Progress = Callable[[int, int], None]
Stop = Callable[[], bool]


class Problem(enum.StrEnum):
    """What can be wrong with one file of a card. `sentence` tells it to a person."""

    EMPTY = "empty"
    MISNAMED = "misnamed"
    TRUNCATED = "truncated"
    UNREADABLE = "unreadable"
    HOSTILE_NAME = "hostile-name"
    LINK = "link"
    SPECIAL = "special"
    FOLDER_NUMBER_TWICE = "folder-number-twice"

    @property
    def sentence(self) -> str:
        return _SENTENCES[self]


_SENTENCES = {
    Problem.EMPTY: "holds no bytes at all",
    Problem.MISNAMED: "is not the kind of file that its name says",
    Problem.TRUNCATED: "breaks off before its end",
    Problem.UNREADABLE: "cannot be read",
    Problem.HOSTILE_NAME: "has a name that some disks cannot carry; it gets a plain one in the archive",
    Problem.LINK: "is a link, which is not followed",
    Problem.SPECIAL: "is not a plain file",
    Problem.FOLDER_NUMBER_TWICE: "lies in a folder whose number another folder bears too",
}
DAMAGE = frozenset({Problem.EMPTY, Problem.MISNAMED, Problem.TRUNCATED})

_JPEG = {"jpg", "jpeg", "jpe", "jfif"}
_TIFF = {"tif", "tiff", "dng", "nef", "cr2", "arw", "orf", "rw2", "pef", "srw"}
_ISO_PICTURE = {"heic", "heif", "avif", "cr3"}
_ISO_CLIP = {"mp4", "m4v", "mov", "3gp", "3g2", "qt"}
_OTHER_CLIP = {"mkv", "webm", "mpg", "mpeg", "mts", "m2ts", "wmv", "asf", "mjpg", "mjpeg"}
PICTURE_ENDINGS = frozenset(_JPEG | _TIFF | _ISO_PICTURE | {"png", "webp", "bmp", "gif", "raf"})
CLIP_ENDINGS = frozenset(_ISO_CLIP | _OTHER_CLIP | {"avi"})

# What systems and programs leave on a card for themselves (common practice).
IGNORED_NAMES = frozenset(
    {".ds_store", "thumbs.db", "ehthumbs.db", "desktop.ini", "autorun.inf", ".nomedia", ".hidden", "icon\r",
     ".volumeicon.icns", ".apdisk", ".com.apple.timemachine.donotpresent", "indexervolumeguid",
     "wpsettings.dat"}
)  # fmt: skip
IGNORED_FOLDERS = frozenset(
    {"system volume information", "$recycle.bin", "recycler", ".trashes", ".trash", ".spotlight-v100",
     ".fseventsd", ".temporaryitems", ".documentrevisions-v100", ".thumbnails", ".thumbs", "@eadir",
     "__macosx", "lost+found"}
)  # fmt: skip

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
    """

    path: str
    size_bytes: int
    mtime_ns: int
    kind: Kind
    dcf_folder: int | None = None
    dcf_number: int | None = None
    companion: bool = False
    problems: tuple[Problem, ...] = ()

    @property
    def taken(self) -> bool:
        """Whether an intake copies this file."""
        return self.kind in ("picture", "clip") or self.companion

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
    """

    source: Path
    entries: tuple[Entry, ...]
    notes: tuple[str, ...] = ()

    @property
    def taken(self) -> tuple[Entry, ...]:
        """The files an intake copies."""
        return tuple(e for e in self.entries if e.taken)

    @property
    def left(self) -> tuple[Entry, ...]:
        """The files an intake leaves where they are."""
        return tuple(e for e in self.entries if not e.taken)

    @property
    def size_bytes(self) -> int:
        """Bytes an intake would read."""
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


def kind_of(path: str) -> Kind:
    """The kind of a file by its path alone."""
    *folders, name = path.lower().split("/")
    if name in IGNORED_NAMES or name.startswith("._") or any(f in IGNORED_FOLDERS for f in folders):
        return "ignored"
    stem, _, ending = name.rpartition(".")
    if stem and ending in PICTURE_ENDINGS:
        return "picture"
    if stem and ending in CLIP_ENDINGS:
        return "clip"
    return "other"


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


TAIL_BYTES = 1 << 16
MARK_BYTES = 1 << 12


def look_inside(fd: int, path: str, size_bytes: int) -> tuple[Problem, ...]:
    """What the first and last bytes of an open file say against it.

    The tail of a JPEG may be padded with zeros (cards are filled in whole clusters) or carry a maker's short
    trailer, so the end mark is looked for in the last 4 KiB before the padding. That the picture decodes is
    not shown by this.
    """
    if size_bytes == 0:
        return (Problem.EMPTY,)
    ending = path.rpartition(".")[2].lower()
    os.lseek(fd, 0, os.SEEK_SET)
    head = os.read(fd, 32)
    if ending in _JPEG:
        if not head.startswith(b"\xff\xd8\xff"):
            return (Problem.MISNAMED,)
        return () if b"\xff\xd9" in _tail(fd, size_bytes) else (Problem.TRUNCATED,)
    if ending == "png":
        if not head.startswith(b"\x89PNG\r\n\x1a\n"):
            return (Problem.MISNAMED,)
        return () if b"IEND" in _tail(fd, size_bytes) else (Problem.TRUNCATED,)
    if ending in ("avi", "webp"):
        if head[:4] != b"RIFF" or head[8:12] != (b"AVI " if ending == "avi" else b"WEBP"):
            return (Problem.MISNAMED,)
        return (Problem.TRUNCATED,) if int.from_bytes(head[4:8], "little") + 8 > size_bytes else ()
    if ending in _ISO_PICTURE | _ISO_CLIP:
        if head[4:8] not in (b"ftyp", b"moov", b"mdat", b"free", b"skip", b"wide", b"pnot"):
            return (Problem.MISNAMED,)
        return (Problem.TRUNCATED,) if _iso_breaks_off(fd, size_bytes) else ()
    if ending in _TIFF and head[:2] not in (b"II", b"MM"):
        return (Problem.MISNAMED,)
    return ()


def _tail(fd: int, size_bytes: int) -> bytes:
    os.lseek(fd, max(0, size_bytes - TAIL_BYTES), os.SEEK_SET)
    return os.read(fd, TAIL_BYTES).rstrip(b"\0")[-MARK_BYTES:]


def _iso_breaks_off(fd: int, size_bytes: int) -> bool:
    """Whether the outermost boxes (ISO/IEC 14496-12, 4.2) reach beyond the file's end, or no `moov` came."""
    at, seen = 0, set()
    for _ in range(1000):
        if at + 8 > size_bytes:
            break
        os.lseek(fd, at, os.SEEK_SET)
        head = os.read(fd, 16)
        length, name = int.from_bytes(head[:4], "big"), head[4:8]
        if length == 1:
            length = int.from_bytes(head[8:16], "big")
        elif length == 0:  # to the end of the file
            length = size_bytes - at
        if length < 8 or at + length > size_bytes:
            return True
        seen.add(name)
        at += length
    return not seen & {b"moov", b"meta"}


def looks_like_picture_or_clip(fd: int) -> Kind | None:
    """The kind of an open file by its first bytes alone, for files whose name says nothing."""
    os.lseek(fd, 0, os.SEEK_SET)
    head = os.read(fd, 12)
    if head.startswith(b"\xff\xd8\xff"):
        return "picture"
    if head[:4] == b"RIFF" and head[8:12] == b"AVI ":
        return "clip"
    if head[4:8] == b"ftyp":
        return "clip"
    return None


def is_link(item: os.DirEntry[str], status: os.stat_result) -> bool:
    """A symbolic link, or on Windows any other point that leads elsewhere (a junction)."""
    attributes = getattr(status, "st_file_attributes", 0)
    return item.is_symlink() or bool(attributes & getattr(stat, "FILE_ATTRIBUTE_REPARSE_POINT", 0x400))


def _walk(source: Path, notes: list[str]) -> Iterator[tuple[str, os.stat_result | None, Problem | None]]:
    todo = [""]
    while todo:
        folder = todo.pop()
        try:
            with os.scandir(source / folder if folder else source) as found:
                items = sorted(found, key=lambda item: item.name)
        except OSError as problem:
            if not folder:
                raise CardTrouble(
                    f"{source} cannot be read: {problem.strerror}. Give the folder of a plugged-in card."
                ) from problem
            notes.append(
                f"The folder {printable(folder)} cannot be read ({problem.strerror}); its files are not seen."
            )
            continue
        for item in items:
            path = f"{folder}/{item.name}" if folder else item.name
            try:
                status = item.stat(follow_symlinks=False)
                if is_link(item, status):
                    yield path, status, Problem.LINK
                elif item.is_dir(follow_symlinks=False):
                    todo.append(path)
                elif item.is_file(follow_symlinks=False):
                    yield path, status, None
                else:
                    yield path, status, Problem.SPECIAL
            except OSError:
                yield path, None, Problem.UNREADABLE


def scan(
    source: Path, *, inside: bool = True, progress: Progress | None = None, stop: Stop | None = None
) -> CardListing:
    """List what lies on a card or in any folder, without following links and without writing.

    source : the folder of a card, or any other.
    inside : also read the first and last bytes of each file (two short reads) for empty, misnamed and broken
        off files. An intake looks by itself at what it copied, so a listing for it may go without.
    progress : called with (files looked into, files found).
    stop : asked between files; when it says True, Stopped is raised.
    Raises CardTrouble when `source` is no readable folder, SourceVanished when it goes away meanwhile.
    """
    source = Path(source)
    if not source.is_dir():
        raise CardTrouble(f"{source} is not a folder that can be read. Give the folder of a plugged-in card.")
    notes: list[str] = []
    context = "/".join(source.resolve().parts[-2:])  # so that DCIM, or 100MEADW itself, may be the source
    entries: list[Entry] = []
    for path, status, problem in _walk(source, notes):
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
        entries.append(Entry(path, size_bytes, mtime_ns, kind, folder, number, problems=problems))
    if inside:
        entries = _looked_into(source, entries, progress, stop)
    entries = _with_companions(entries)
    entries = _with_shared_numbers(entries, notes)
    entries.sort(key=_order)
    return CardListing(source, tuple(entries), tuple(notes))


def _looked_into(
    source: Path, entries: list[Entry], progress: Progress | None, stop: Stop | None
) -> list[Entry]:
    result = []
    for done, entry in enumerate(entries, 1):
        if stop is not None and stop():
            raise Stopped("Looking through the card was stopped. Nothing was copied.")
        if entry.kind != "ignored" and Problem.UNREADABLE not in entry.problems:
            try:
                fd = disk.open_source(source.joinpath(*entry.path.split("/")))
                try:
                    if entry.kind == "other":
                        kind = looks_like_picture_or_clip(fd)
                        if kind is not None:
                            entry = replace(entry, kind=kind, problems=(*entry.problems, Problem.MISNAMED))
                    else:
                        found = look_inside(fd, entry.path, entry.size_bytes)
                        entry = replace(entry, problems=(*entry.problems, *found))
                finally:
                    os.close(fd)
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
        replace(e, problems=(*e.problems, Problem.FOLDER_NUMBER_TWICE)) if e.dcf_folder in twice else e
        for e in entries
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
