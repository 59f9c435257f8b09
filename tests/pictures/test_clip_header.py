"""What the header of a clip says, and that no header makes its reader raise, wait or read on for ever."""

from __future__ import annotations

import io
import struct
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trod.pictures import clip_header
from trod.pictures.clip_header import ClipHeader

NOON = datetime(2024, 5, 17, 12, 0, tzinfo=UTC)
SINCE_1904 = int((NOON - datetime(1904, 1, 1, tzinfo=UTC)).total_seconds())


def box(kind: bytes, inside: bytes) -> bytes:
    return struct.pack(">I", 8 + len(inside)) + kind + inside


def mvhd(made: int = SINCE_1904, scale: int = 1000, length: int = 15_500, *, long: bool = False) -> bytes:
    if long:
        return box(b"mvhd", b"\1\0\0\0" + struct.pack(">QQIQ", made, made, scale, length) + bytes(76))
    return box(b"mvhd", bytes(4) + struct.pack(">IIII", made, made, scale, length) + bytes(80))


def track(wide: int, high: int) -> bytes:
    return box(b"trak", box(b"tkhd", bytes(76) + struct.pack(">II", wide << 16, high << 16)))


def mp4(*parts: bytes, before: bytes = b"") -> bytes:
    return box(b"ftyp", b"isom\0\0\2\0") + before + box(b"moov", b"".join(parts))


def chunk(kind: bytes, inside: bytes) -> bytes:
    return kind + struct.pack("<I", len(inside)) + inside + bytes(len(inside) % 2)


def avi(*parts: bytes, step_us: int = 40_000, frames: int = 250) -> bytes:
    head = struct.pack("<10I", step_us, 0, 0, 0, frames, 0, 1, 0, 1280, 720) + bytes(16)
    inside = (
        b"AVI " + chunk(b"LIST", b"hdrl" + chunk(b"avih", head) + b"".join(parts)) + chunk(b"LIST", b"movi" + bytes(9))
    )
    return chunk(b"RIFF", inside)


def read(data: bytes) -> ClipHeader:
    return clip_header.read(io.BytesIO(data))


@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("before", [b"", box(b"mdat", bytes(5000))])
def test_an_mp4_tells_its_length_its_size_and_its_time(long: bool, before: bytes) -> None:
    """ISO/IEC 14496-12: seconds since 1904 in UTC, lengths in units of its own scale, sizes in 16.16."""
    found = read(mp4(mvhd(long=long), track(0, 0), track(1920, 1080), before=before))
    assert found == ClipHeader(duration_s=15.5, width=1920, height=1080, made=NOON)


def test_a_large_box_with_a_long_size_is_stepped_over() -> None:
    large = struct.pack(">I", 1) + b"mdat" + struct.pack(">Q", 16 + 3000) + bytes(3000)
    assert read(mp4(mvhd(), before=large)).duration_s == 15.5


@pytest.mark.parametrize(
    "head",
    [
        mvhd(scale=0),
        mvhd(length=0),
        mvhd(length=2**32 - 1),
        mvhd(length=10**9, scale=1),
        mvhd(length=2**64 - 1, long=True),
    ],
)
def test_a_length_that_is_unknown_or_cannot_be_is_none(head: bytes) -> None:
    assert read(mp4(head)).duration_s is None


def test_no_time_and_a_time_beyond_all_calendars_are_none() -> None:
    assert read(mp4(mvhd(made=0))).made is None
    assert read(mp4(mvhd(made=2**63, long=True))).made is None


@pytest.mark.parametrize(
    ("text", "made"),
    [
        (b"Fri May 17 12:00:00 2024\n\0", NOON),
        (b"FRI MAY  7 12:00:00 2024", datetime(2024, 5, 7, 12, tzinfo=UTC)),
        (b"2024-05-17 12:00:00", NOON),
        (b"2024:05:17 12:00:00", NOON),
        (b"2024/05/17 12:00:00", NOON),
        (b"Fri May 32 12:00:00 2024", None),
        (b"soon", None),
        (b"", None),
    ],
)
def test_an_avi_tells_its_length_its_size_and_its_date(text: bytes, made: datetime | None) -> None:
    found = read(avi(chunk(b"IDIT", text)))
    assert found == ClipHeader(duration_s=10.0, width=1280, height=720, frames_per_s=25.0, made=made)


def test_an_avi_whose_rate_cannot_be_has_no_length() -> None:
    assert read(avi(step_us=0)).duration_s is None
    assert read(avi(frames=2**32 - 1)).duration_s is None


class Counting(io.BytesIO):
    reads = 0

    def read(self, size: int | None = -1) -> bytes:
        assert size is not None and 0 <= size <= 64
        self.reads += 1
        return super().read(size)


@pytest.mark.parametrize("data", [mp4(box(b"free", b"") * 5000), avi(chunk(b"JUNK", b"") * 5000)])
def test_a_header_of_endless_parts_is_left_after_a_bound(data: bytes) -> None:
    file = Counting(data)
    clip_header.read(file)
    assert file.reads < 3 * clip_header.MOST_PARTS


@given(
    st.binary(max_size=400), st.integers(0, 200), st.sampled_from([mp4(mvhd(), track(8, 8)), avi(chunk(b"IDIT", b"x"))])
)
@settings(max_examples=300)
def test_no_bytes_make_it_raise(noise: bytes, at: int, whole: bytes) -> None:
    read(noise)
    read(whole[:at] + noise + whole[at:])
    read(whole[:at])
