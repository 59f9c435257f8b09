"""What the header of a clip says: how long, when, how large. No frame is decoded, so no library is needed.

Reads the two kinds of file that cameras of this trade write, MP4 or MOV and AVI, a few hundred bytes of each, by their
own tables of contents. Nothing in a file makes this raise but a disk that fails.

Sources: ISO base media file format (ISO/IEC 14496-12), boxes moov, mvhd, trak, tkhd: times in seconds since 1904 in UTC;
RIFF AVI (Microsoft, "AVI RIFF File Reference"), chunks avih and IDIT: the date as text, by the camera's own clock.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import BinaryIO

MOST_PARTS = 2_000  # boxes or chunks looked at; a sound header has some dozens
MOST_DATE = 64  # bytes of a date in text
LONGEST_S = 7 * 86_400.0  # a longer clip is a spoilt header
_SINCE = datetime(1904, 1, 1, tzinfo=UTC)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


@dataclass(frozen=True, kw_only=True)
class ClipHeader:
    """What a clip's header says, None where it says nothing.

    made : when it was made, as the container has it: UTC by its own rule, or the camera's wall clock called so.
    """

    duration_s: float | None = None
    width: int | None = None
    height: int | None = None
    frames_per_s: float | None = None
    made: datetime | None = None


def read(file: BinaryIO) -> ClipHeader:
    """The header of an open clip; an empty one for any other file. Raises OSError when the disk fails."""
    size = file.seek(0, io.SEEK_END)
    file.seek(0)
    head = file.read(12)
    if head[:4] == b"RIFF" and head[8:12] == b"AVI ":
        return _avi(file, size)
    if len(head) == 12 and head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"):
        return _mp4(file, size)
    return ClipHeader()


# MP4, MOV -------------------------------------------------------------------------------------------------


def _boxes(file: BinaryIO, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """(kind, start, end) of each box between two places, what is in it; stops where they do not fit."""
    at = start
    for _ in range(MOST_PARTS):
        if at + 8 > end:
            return
        file.seek(at)
        head = file.read(16)
        if len(head) < 8:
            return
        size, kind, skip = int.from_bytes(head[:4], "big"), head[4:8], 8
        if size == 1 and len(head) == 16:
            size, skip = int.from_bytes(head[8:16], "big"), 16
        elif size == 0:
            size = end - at
        if size < skip or at + size > end:
            return
        yield kind, at + skip, at + size
        at += size


def _mp4(file: BinaryIO, size: int) -> ClipHeader:
    duration_s = made = width = height = None
    for kind, start, end in _boxes(file, 0, size):
        if kind != b"moov":
            continue
        for inner, a, b in _boxes(file, start, end):
            if inner == b"mvhd":
                duration_s, made = _movie(file, a, b)
            elif inner == b"trak" and width is None:
                for box, c, d in _boxes(file, a, b):
                    if box == b"tkhd" and d - c >= 8:
                        file.seek(d - 8)
                        wide, high = (n >> 16 for n in struct.unpack(">II", file.read(8)))
                        if wide and high:  # a sound track has neither
                            width, height = wide, high
        break
    return ClipHeader(duration_s=duration_s, width=width, height=height, made=made)


def _movie(file: BinaryIO, start: int, end: int) -> tuple[float | None, datetime | None]:
    file.seek(start)
    data = file.read(min(end - start, 32))
    if len(data) >= 32 and data[0] == 1:
        made_s, _, scale, length = struct.unpack(">QQIQ", data[4:32])
        unknown = 2**64 - 1
    elif len(data) >= 20 and data[0] == 0:
        made_s, _, scale, length = struct.unpack(">IIII", data[4:20])
        unknown = 2**32 - 1
    else:
        return None, None
    duration_s = length / scale if scale and length not in (0, unknown) else None
    if duration_s is not None and duration_s > LONGEST_S:
        duration_s = None
    try:
        return duration_s, _SINCE + timedelta(seconds=made_s) if made_s else None
    except OverflowError:
        return duration_s, None


# AVI ------------------------------------------------------------------------------------------------------


def _chunks(file: BinaryIO, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """As `_boxes`, of a RIFF file: sizes after the kind, the least byte first, padded to even ones."""
    at = start
    for _ in range(MOST_PARTS):
        if at + 8 > end:
            return
        file.seek(at)
        head = file.read(8)
        if len(head) < 8:
            return
        size = int.from_bytes(head[4:], "little")
        yield head[:4], at + 8, min(at + 8 + size, end)
        at += 8 + size + size % 2


def _avi(file: BinaryIO, size: int) -> ClipHeader:
    duration_s = width = height = rate = made = None
    for kind, start, end in _chunks(file, 12, size):
        if kind == b"LIST":
            file.seek(start)
            if file.read(4) != b"hdrl":
                break  # the header comes first
            for inner, a, b in _chunks(file, start + 4, end):
                file.seek(a)
                if inner == b"avih" and len(data := file.read(min(40, b - a))) == 40:
                    step_us, _, _, _, frames, _, _, _, wide, high = struct.unpack("<10I", data)
                    width, height = wide or None, high or None
                    if 0 < step_us <= 60_000_000:
                        rate = 1e6 / step_us
                        lasts_s = frames / rate
                        duration_s = lasts_s if 0 < lasts_s <= LONGEST_S else None
                elif inner == b"IDIT":
                    made = _date(file.read(min(MOST_DATE, b - a)))
        elif kind == b"IDIT":
            file.seek(start)
            made = made or _date(file.read(min(MOST_DATE, end - start)))
    return ClipHeader(duration_s=duration_s, width=width, height=height, frames_per_s=rate, made=made)


def _date(data: bytes) -> datetime | None:
    """The date of an IDIT chunk: "Fri May 17 14:30:00 2024", or with the numbers first."""
    text = data.split(b"\0", 1)[0].decode("ascii", "replace").strip()
    words = text.split()
    if len(words) == 5 and words[1][:3].lower() in _MONTHS:
        _, month, day, clock, year = words
        text = f"{year}-{_MONTHS.index(month[:3].lower()) + 1:02d}-{day:0>2}T{clock}"
    else:
        text = text.replace("/", "-").replace(":", "-", 2) if text[4:5] == ":" else text.replace("/", "-")
    try:
        return datetime.fromisoformat(text).replace(tzinfo=UTC)
    except ValueError:
        return None
