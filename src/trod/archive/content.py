"""What a file is, by its name and by its bytes, and what its first and last bytes say against it.

A name can lie: a disk repair calls a picture `FILE0000.CHK`, a failing table writes `.JP_`, a person hides a
folder. So what is on a card is judged by content; a name only says what was meant.

Marks of formats: JPEG ITU-T T.81 (1992) annex B; PNG W3C (2003) section 5.2; TIFF 6.0 (1992) section 2;
ISO/IEC 14496-12 section 4 for MP4, MOV, HEIF and their kin; RIFF of AVI and WebP, Matroska, MPEG, ASF and the
makers' raw formats from memory.
"""

from __future__ import annotations

import enum
import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

Kind = Literal["picture", "clip", "other", "ignored"]


class Problem(enum.StrEnum):
    """What there is to tell of one file of a card. `sentence` tells it to a person."""

    EMPTY = "empty"
    MISNAMED = "misnamed"
    TRUNCATED = "truncated"
    ODD_NAME = "odd-name"
    UNREADABLE = "unreadable"
    HOSTILE_NAME = "hostile-name"
    LINK = "link"
    SPECIAL = "special"
    FOLDER_NUMBER_TWICE = "folder-number-twice"
    UNSTABLE = "unstable"
    READ_ERROR = "read-error"
    CHANGED_SIZE = "changed-size"

    @property
    def sentence(self) -> str:
        return _SENTENCES[self]


_SENTENCES = {
    Problem.EMPTY: "holds no bytes at all",
    Problem.MISNAMED: "is not the kind of file that its name says",
    Problem.TRUNCATED: "breaks off before its end",
    Problem.ODD_NAME: "is a picture or clip that its name does not tell; it keeps that name",
    Problem.UNREADABLE: "cannot be read",
    Problem.HOSTILE_NAME: "has a name that some disks cannot carry; it gets a plain one in the archive",
    Problem.LINK: "is a link, which is not followed",
    Problem.SPECIAL: "is not a plain file",
    Problem.FOLDER_NUMBER_TWICE: "lies in a folder whose number another folder bears too",
    Problem.UNSTABLE: "gave other bytes when it was read a second time",
    Problem.READ_ERROR: "could be read only at a second try",
    Problem.CHANGED_SIZE: "had another size when it was copied than when the card was looked at",
}
DAMAGE = frozenset({Problem.EMPTY, Problem.MISNAMED, Problem.TRUNCATED})

_JPEG = {"jpg", "jpeg", "jpe", "jfif"}
_TIFF = {"tif", "tiff", "dng", "nef", "cr2", "arw", "orf", "rw2", "pef", "srw"}
_ISO_PICTURE = {"heic", "heif", "avif", "cr3"}
_ISO_CLIP = {"mp4", "m4v", "mov", "3gp", "3g2", "qt"}
_JPEG_CLIP = {"mjpg", "mjpeg"}
_OTHER_CLIP = {"mkv", "webm", "mpg", "mpeg", "mts", "m2ts", "wmv", "asf"}
PICTURE_ENDINGS = frozenset(_JPEG | _TIFF | _ISO_PICTURE | {"png", "webp", "bmp", "gif", "raf"})
CLIP_ENDINGS = frozenset(_ISO_CLIP | _JPEG_CLIP | _OTHER_CLIP | {"avi"})

# What systems and programs leave on a card for themselves (common practice).
IGNORED_NAMES = frozenset(
    {".ds_store", "thumbs.db", "ehthumbs.db", "desktop.ini", "autorun.inf", ".nomedia", ".hidden", "icon\r",
     ".volumeicon.icns", ".apdisk", ".com.apple.timemachine.donotpresent", "indexervolumeguid",
     "wpsettings.dat"}
)  # fmt: skip
# Indexes of a system: it may forbid a look into them, and nobody keeps a picture there.
SYSTEM_FOLDERS = frozenset(
    {"system volume information", ".spotlight-v100", ".fseventsd", ".temporaryitems", ".documentrevisions-v100"}
)
IGNORED_FOLDERS = SYSTEM_FOLDERS | frozenset(
    {"$recycle.bin", "recycler", ".trashes", ".trash", ".thumbnails", ".thumbs", "@eadir", "__macosx"}
)
# Where a disk repair puts what it found without a name (common practice). All of it is kept: who knows what a
# piece of a clip looks like.
_RECOVERED = re.compile(r"found\.[0-9]{3}|lost\.dir|lost\+found", re.ASCII | re.IGNORECASE)


def is_recovered(path: str) -> bool:
    """Whether a file lies in a folder that a disk repair made."""
    return any(_RECOVERED.fullmatch(part) for part in path.split("/")[:-1])


def ending_of(path: str) -> str:
    """The ending of a path's name in small letters, without the blanks and full stops some disks leave on it."""
    stem, _, ending = path.rpartition("/")[2].rstrip(" .").rpartition(".")
    return ending.lower() if stem else ""


def kind_of(path: str) -> Kind:
    """The kind of a file by its path alone."""
    *folders, name = path.lower().split("/")
    if name in IGNORED_NAMES or name.startswith("._") or any(f in IGNORED_FOLDERS for f in folders):
        return "ignored"
    ending = ending_of(name)
    if ending in PICTURE_ENDINGS:
        return "picture"
    return "clip" if ending in CLIP_ENDINGS else "other"


# By its bytes -----------------------------------------------------------------------------------------------

HEAD_BYTES = 1 << 10
TAIL_BYTES = 1 << 16
MARK_BYTES = 1 << 12
MOST_SCANNED_BYTES = 1 << 28

Family = Literal["jpeg", "png", "gif", "tiff", "riff", "webp", "iso", "heif", "other"]


@dataclass(frozen=True)
class Format:
    """What the first bytes of a file say that it is."""

    family: Family
    kind: Literal["picture", "clip"]


@dataclass(frozen=True)
class Look:
    """A file's kind, by its bytes where they tell it, else by its name; and what there is to say of it."""

    kind: Kind
    problems: tuple[Problem, ...] = ()


_STARTS: tuple[tuple[bytes, Format], ...] = (
    (b"\xff\xd8\xff", Format("jpeg", "picture")),
    (b"\x89PNG\r\n\x1a\n", Format("png", "picture")),
    (b"II*\0", Format("tiff", "picture")),  # DNG, NEF, CR2, ARW, PEF, SRW too
    (b"MM\0*", Format("tiff", "picture")),
    (b"II+\0", Format("tiff", "picture")),
    (b"MM\0+", Format("tiff", "picture")),
    (b"IIRO", Format("tiff", "picture")),  # ORF
    (b"IIRS", Format("tiff", "picture")),
    (b"MMOR", Format("tiff", "picture")),
    (b"IIU\0", Format("tiff", "picture")),  # RW2
    (b"II\x1a\0\0\0HEAPCCDR", Format("other", "picture")),
    (b"FUJIFILMCCD-RAW", Format("other", "picture")),
    (b"FOVb", Format("other", "picture")),
    (b"\0MRM", Format("other", "picture")),
    (b"GIF87a", Format("gif", "picture")),
    (b"GIF89a", Format("gif", "picture")),
    (b"\0\0\0\x0cJXL \r\n\x87\n", Format("other", "picture")),
    (b"\0\0\0\x0cjP  \r\n\x87\n", Format("other", "picture")),
    (b"\xffO\xffQ\0", Format("other", "picture")),
    (b"\x1aE\xdf\xa3", Format("other", "clip")),  # Matroska, WebM
    (b"\0\0\x01\xba", Format("other", "clip")),  # MPEG program stream
    (b"\0\0\x01\xb3", Format("other", "clip")),  # MPEG video
    (b"\0\0\0\x01\x67", Format("other", "clip")),  # H.264 as it comes from the coder
    (b"\0\0\0\x01\x27", Format("other", "clip")),
    (b"\0\0\0\x01\x40\x01", Format("other", "clip")),  # H.265
    (b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", Format("other", "clip")),  # ASF, WMV
    (b"FLV\x01", Format("other", "clip")),
)
_PICTURE_BRANDS = {
    b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"mif2", b"msf1", b"avif", b"avis", b"crx ",
}  # fmt: skip
_SOUND_BRANDS = {b"M4A ", b"M4B ", b"M4P ", b"F4A "}
_BOXES = (b"moov", b"mdat", b"free", b"skip", b"wide", b"pnot")  # how an older QuickTime file may begin
_DIB_SIZES = (12, 16, 40, 52, 56, 64, 108, 124)

_FAMILY_OF: dict[str, Family] = {
    **dict.fromkeys(_JPEG | _JPEG_CLIP, "jpeg"),
    **dict.fromkeys(_TIFF, "tiff"),
    **dict.fromkeys(_ISO_PICTURE, "heif"),
    **dict.fromkeys(_ISO_CLIP, "iso"),
    "png": "png", "gif": "gif", "avi": "riff", "webp": "webp",
}  # fmt: skip


def format_of(head: bytes, size_bytes: int) -> Format | None:
    """What the first bytes of a file say that it is, or None when they are those of no picture or clip.

    head : the first HEAD_BYTES of it, or all.
    """
    for start, found in _STARTS:
        if head.startswith(start):
            return found
    if head[:4] == b"RIFF":
        return {b"AVI ": Format("riff", "clip"), b"WEBP": Format("webp", "picture")}.get(head[8:12])
    if head[:2] == b"BM" and int.from_bytes(head[14:18], "little") in _DIB_SIZES and head[6:10] == bytes(4):
        return Format("other", "picture")
    length = int.from_bytes(head[:4], "big")
    if head[4:8] == b"ftyp" and 8 <= length <= max(size_bytes, HEAD_BYTES):
        brand = head[8:12]
        if brand in _SOUND_BRANDS:
            return None
        return Format("heif", "picture") if brand in _PICTURE_BRANDS else Format("iso", "clip")
    plausible = length in (0, 1) or 8 <= length <= size_bytes or (length >= 8 and head[:1] < b" ")
    if head[4:8] in _BOXES and plausible:  # not "The free"
        return Format("iso", "clip")
    for first, step in ((0, 188), (4, 192)):  # MPEG transport stream, plain and with times
        if all(head[at : at + 1] == b"G" for at in (first, first + step, first + 2 * step)):
            return Format("other", "clip")
    return None


def look_inside(fd: int, path: str, size_bytes: int) -> Look:
    """What an open file is, and what its first and last bytes say against it.

    The tail of a JPEG may be padded with zeros (cards are filled in whole clusters) or carry a maker's
    trailer, so the end mark is looked for before these. That the picture decodes is not shown by this.
    """
    meant, ending = kind_of(path), ending_of(path)
    named = meant in ("picture", "clip")
    if size_bytes == 0:
        return Look(meant, (Problem.EMPTY,) if named else ())
    os.lseek(fd, 0, os.SEEK_SET)
    found = format_of(os.read(fd, HEAD_BYTES), size_bytes)
    fitting = _FAMILY_OF.get(ending)
    if found is None:
        return Look(meant, (Problem.MISNAMED,) if named and fitting else ())
    problems: list[Problem] = []
    kind: Kind = found.kind
    breaks_off = _BREAKS_OFF.get(found.family)
    if named and fitting and found.family != fitting and breaks_off is None:
        problems.append(Problem.MISNAMED)  # a few first bytes alone show no whole picture
    elif not named or (fitting and found.family != fitting):
        problems.append(Problem.ODD_NAME)
    elif ending in _JPEG_CLIP:  # a row of JPEGs
        kind = "clip"
    if breaks_off is not None and breaks_off(fd, size_bytes):
        problems.append(Problem.TRUNCATED)
    return Look(kind, tuple(problems))


def _tail(fd: int, size_bytes: int) -> bytes:
    os.lseek(fd, max(0, size_bytes - TAIL_BYTES), os.SEEK_SET)
    return os.read(fd, TAIL_BYTES).rstrip(b"\0")[-MARK_BYTES:]


def _png_breaks_off(fd: int, size_bytes: int) -> bool:
    return b"IEND" not in _tail(fd, size_bytes)


def _gif_breaks_off(fd: int, size_bytes: int) -> bool:
    return not _tail(fd, size_bytes).endswith(b";")


def _riff_breaks_off(fd: int, size_bytes: int) -> bool:
    """Whether the length in the head reaches beyond the end, or was never filled in."""
    os.lseek(fd, 4, os.SEEK_SET)
    length = int.from_bytes(os.read(fd, 4), "little")
    return length + 8 > size_bytes or length < 4


def _jpeg_breaks_off(fd: int, size_bytes: int) -> bool:
    return b"\xff\xd9" not in _tail(fd, size_bytes) and not _has_end_within(fd, size_bytes)


_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


def _has_end_within(fd: int, size_bytes: int) -> bool:
    """Whether the end mark of a JPEG stands before some longer trailer: its segments are walked (T.81, B.1)."""
    at, coded = 2, False
    while at + 4 <= min(size_bytes, MOST_SCANNED_BYTES):
        os.lseek(fd, at, os.SEEK_SET)
        if coded:
            piece = os.read(fd, 1 << 20)
            found = _MARKER.search(piece)
            if found is None:
                if len(piece) < 2:
                    return False
                at += len(piece) - 1
                continue
            at, coded = at + found.start(), False
            continue
        head = os.read(fd, 4)
        if len(head) < 2 or head[0] != 0xFF:
            return False
        if head[1] == 0xD9:
            return True
        coded = head[1] == 0xDA
        at += 2 + int.from_bytes(head[2:4], "big")
    if at + 2 > size_bytes:
        return False
    os.lseek(fd, at, os.SEEK_SET)
    return not coded and os.read(fd, 2) == b"\xff\xd9"


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


_BREAKS_OFF: dict[Family, Callable[[int, int], bool]] = {
    "jpeg": _jpeg_breaks_off,
    "png": _png_breaks_off,
    "gif": _gif_breaks_off,
    "riff": _riff_breaks_off,
    "webp": _riff_breaks_off,
    "iso": _iso_breaks_off,
    "heif": _iso_breaks_off,
}
