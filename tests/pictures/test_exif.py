"""What a picture's header says, for makers who keep the standard and makers who do not."""

from __future__ import annotations

import io
import struct
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import piexif
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from trod import clock
from trod.clock import CameraClock
from trod.pictures import exif

pytestmark = pytest.mark.filterwarnings("ignore::UserWarning:PIL")

TAKEN = datetime(2024, 5, 17, 14, 30)


def jpeg(
    ifd0: dict[int, Any] | None = None,
    of_exposure: dict[int, Any] | None = None,
    gps: dict[int, Any] | None = None,
    *,
    size: tuple[int, int] = (64, 48),
) -> bytes:
    """A small JPEG with the given tags, as a camera would write it."""
    buffer = io.BytesIO()
    header = piexif.dump({"0th": ifd0 or {}, "Exif": of_exposure or {}, "GPS": gps or {}})
    Image.new("RGB", size, (90, 120, 60)).save(buffer, "JPEG", exif=header)
    return buffer.getvalue()


def dated(text: bytes, **more: Any) -> bytes:
    return jpeg(of_exposure={piexif.ExifIFD.DateTimeOriginal: text} | more)


def test_the_standards_date_with_offset_is_the_right_instant() -> None:
    """Exif 2.32 (CIPA DC-008-2019): 2024:05:17 14:30:00 and offset +02:00 are 2024-05-17T12:30:00Z."""
    facts = exif.read_facts(
        jpeg(
            of_exposure={
                piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00",
                piexif.ExifIFD.OffsetTimeOriginal: b"+02:00",
            }
        )
    )
    assert (facts.taken_raw, facts.taken_from, facts.utc_offset_min) == (TAKEN, "DateTimeOriginal", 120)
    assert facts.problems == ()
    assert facts.taken_raw is not None and facts.utc_offset_min is not None
    clock_there = CameraClock(utc_offset_min=facts.utc_offset_min)
    instant = datetime.fromtimestamp(float(clock_there.to_utc_s(clock.raw_seconds(facts.taken_raw))), UTC)
    assert instant == datetime(2024, 5, 17, 12, 30, tzinfo=UTC)


def test_a_time_without_zone_stays_without_zone() -> None:
    facts = exif.read_facts(dated(b"2024:05:17 14:30:00"))
    assert facts.taken_raw == TAKEN
    assert facts.taken_raw.tzinfo is None
    assert facts.utc_offset_min is None


@pytest.mark.parametrize(
    ("digits", "seconds"), [(b"05", 0.05), (b"5", 0.5), (b"500", 0.5), (b"007 ", 0.007), (b"9" * 40, 1.0)]
)
def test_subseconds_are_digits_after_the_point(digits: bytes, seconds: float) -> None:
    """Exif 2.32: SubSecTimeOriginal holds decimal digits, so "05" is .05 s and not 5."""
    tags = {
        piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00",
        piexif.ExifIFD.SubSecTimeOriginal: digits,
    }
    found = exif.read_facts(jpeg(of_exposure=tags)).subsecond_s
    assert found == pytest.approx(seconds)
    assert found is not None and found < 1


def test_subseconds_that_are_no_digits_are_left_out_and_told() -> None:
    tags = {piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00", piexif.ExifIFD.SubSecTimeOriginal: b"ab"}
    facts = exif.read_facts(jpeg(of_exposure=tags))
    assert facts.subsecond_s is None
    assert facts.problems == ("the parts of a second 'ab' are no digits; left out",)


@pytest.mark.parametrize(
    "text",
    [
        b"2024:05:17 14:30:00\0",
        b"2024:05:17 14:30:00\0\0\0\0\0",
        b"2024-05-17 14:30:00",
        b"2024/05/17 14:30:00",
        b"2024-05-17T14:30:00",
        b"2024:05:17 14:30",
        b"2024:05:17  2:30:00 PM",
        b"2024:05:17 02:30:00 pm",
        b"2024: 5:17 14:30: 0",
        b"2024:5:17 14:30:0",
    ],
)
def test_makers_own_spellings_of_a_date_are_read(text: bytes) -> None:
    assert exif.read_facts(dated(text)).taken_raw == TAKEN


def test_twelve_at_noon_and_at_midnight() -> None:
    assert exif.read_facts(dated(b"2024:05:17 12:05:00 AM")).taken_raw == datetime(2024, 5, 17, 0, 5)
    assert exif.read_facts(dated(b"2024:05:17 12:05:00 PM")).taken_raw == datetime(2024, 5, 17, 12, 5)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"    :  :     :  :  ", "the camera left the date blank"),
        (b" " * 19, "the camera left the date blank"),
        (b"0000:00:00 00:00:00", "the camera wrote a date of zeros: its clock was not set"),
        (b"2024:13:40 14:30:00", "the date '2024:13:40 14:30:00' does not exist"),
        (b"2024:05:17 24:30:00", "the date '2024:05:17 24:30:00' does not exist"),
        (b"2023:02:29 14:30:00", "the date '2023:02:29 14:30:00' does not exist"),
        (
            b"17/05/2024 14:30:00",
            "the date '17/05/2024 14:30:00' is not in any form that can be read for sure",
        ),
        (b"2024:05:17 14:30:00 PM", "the date '2024:05:17 14:30:00 PM' is not in any form"),
        (b"tomorrow", "the date 'tomorrow' is not in any form that can be read for sure"),
    ],
)
def test_a_date_that_cannot_be_believed_is_told_and_not_guessed(text: bytes, words: str) -> None:
    facts = exif.read_facts(dated(text))
    assert facts.taken_raw is None
    assert facts.taken_from is None
    assert any(problem.startswith(words) for problem in facts.problems), facts.problems


def test_a_time_from_a_lesser_tag_says_so() -> None:
    facts = exif.read_facts(jpeg({piexif.ImageIFD.DateTime: b"2024:05:17 14:30:00"}))
    assert (facts.taken_raw, facts.taken_from) == (TAKEN, "DateTime")
    assert facts.problems == ("the time is from DateTime: the camera wrote no time of the exposure itself",)


def test_the_zone_of_another_date_does_not_speak_for_this_one() -> None:
    tags = {piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00", piexif.ExifIFD.OffsetTime: b"+05:00"}
    assert exif.read_facts(jpeg(of_exposure=tags)).utc_offset_min is None


@pytest.mark.parametrize(
    ("text", "minutes"),
    [(b"+05:45", 345), (b"-03:30", -210), (b"Z", 0), (b"+0200", 120), (b"   :  ", None), (b"+25:00", None)],
)
def test_zones_beside_a_date(text: bytes, minutes: int | None) -> None:
    tags = {piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00", piexif.ExifIFD.OffsetTimeOriginal: text}
    facts = exif.read_facts(jpeg(of_exposure=tags))
    assert facts.utc_offset_min == minutes
    assert bool(facts.problems) == (text == b"+25:00")


def test_everything_else_a_header_can_say() -> None:
    facts = exif.read_facts(
        jpeg(
            {
                piexif.ImageIFD.Make: b"Heronsgate \0\0",
                piexif.ImageIFD.Model: b"HG-4\0junk",
                piexif.ImageIFD.Software: b"1.07",
                piexif.ImageIFD.Orientation: 6,
            },
            {
                piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00",
                piexif.ExifIFD.BodySerialNumber: b" 0042-A ",
                piexif.ExifIFD.ExposureTime: (1, 125),
                piexif.ExifIFD.FNumber: (28, 10),
                piexif.ExifIFD.ISOSpeedRatings: 400,
                piexif.ExifIFD.Flash: 0x19,
                piexif.ExifIFD.FocalLength: (40, 10),
                piexif.ExifIFD.FocalLengthIn35mmFilm: 24,
            },
            {
                piexif.GPSIFD.GPSLatitudeRef: b"S",
                piexif.GPSIFD.GPSLatitude: ((33, 1), (52, 1), (300, 10)),
                piexif.GPSIFD.GPSLongitudeRef: b"E",
                piexif.GPSIFD.GPSLongitude: ((151, 1), (1234, 100), (0, 1)),
                piexif.GPSIFD.GPSAltitudeRef: 1,
                piexif.GPSIFD.GPSAltitude: (25, 10),
            },
            size=(80, 30),
        )
    )
    assert (facts.make, facts.model, facts.software, facts.serial) == ("Heronsgate", "HG-4", "1.07", "0042-A")
    assert (facts.width, facts.height, facts.orientation, facts.kind) == (80, 30, 6, "JPEG")
    assert facts.exposure_s == pytest.approx(1 / 125)
    assert (facts.f_number, facts.iso, facts.flash_fired) == (pytest.approx(2.8), 400, True)
    assert (facts.focal_length_mm, facts.focal_length_35mm_mm) == (4, 24)
    assert facts.gps_latitude_deg == pytest.approx(-(33 + 52 / 60 + 30 / 3600))
    assert facts.gps_longitude_deg == pytest.approx(151 + 12.34 / 60)
    assert facts.gps_altitude_m == -2.5
    assert facts.problems == ()


def test_a_flash_that_did_not_fire() -> None:
    """Exif 2.32, Flash: bit 0 is "fired"; 0x10 is "did not fire, compulsory off"."""
    assert exif.read_facts(jpeg(of_exposure={piexif.ExifIFD.Flash: 0x10})).flash_fired is False
    assert exif.read_facts(jpeg()).flash_fired is None


def test_a_receiver_without_a_fix_gives_no_position() -> None:
    nowhere = {
        piexif.GPSIFD.GPSLatitudeRef: b"N",
        piexif.GPSIFD.GPSLatitude: ((0, 1), (0, 1), (0, 1)),
        piexif.GPSIFD.GPSLongitudeRef: b"E",
        piexif.GPSIFD.GPSLongitude: ((0, 1), (0, 1), (0, 1)),
    }
    facts = exif.read_facts(jpeg(gps=nowhere))
    assert facts.gps_latitude_deg is None
    assert "the position in the header is 0° 0°: the receiver had found none" in facts.problems

    broken = nowhere | {piexif.GPSIFD.GPSLatitude: ((10, 0), (0, 0), (0, 0))}
    facts = exif.read_facts(jpeg(gps=broken))
    assert facts.gps_latitude_deg is None
    assert "the position in the header cannot be read" in facts.problems


def test_an_impossible_orientation_is_taken_as_upright_and_told() -> None:
    facts = exif.read_facts(jpeg({piexif.ImageIFD.Orientation: 77}))
    assert facts.orientation == 1
    assert any("orientation of 77" in problem for problem in facts.problems)


def test_a_serial_in_xmp_is_found() -> None:
    xmp = (
        b'<x:xmpmeta><rdf:Description exifEX:BodySerialNumber="HG-0077" '
        b'xmlns:exifEX="http://cipa.jp/exif/1.0/"/></x:xmpmeta>'
    )
    payload = b"http://ns.adobe.com/xap/1.0/\0" + xmp
    plain = jpeg()
    with_xmp = plain[:2] + b"\xff\xe1" + struct.pack(">H", len(payload) + 2) + payload + plain[2:]
    assert exif.read_facts(with_xmp).serial == "HG-0077"


def test_only_the_head_of_a_file_is_read(tmp_path: Path) -> None:
    whole = dated(b"2024:05:17 14:30:00")
    path = tmp_path / "long.jpg"
    path.write_bytes(whole + bytes(50_000_000))
    taken: list[int] = []

    class Counting(io.FileIO):
        def read(self, size: int | None = -1) -> bytes:  # type: ignore[override]
            data: bytes = super().read(-1 if size is None else size)
            taken.append(len(data))
            return data

    with Counting(path) as file:
        facts = exif.facts_of_file(file, path.stat().st_size)  # type: ignore[arg-type]
    assert facts.taken_raw == TAKEN
    assert sum(taken) <= exif.FIRST_READ_BYTES


def test_a_header_longer_than_the_first_read_is_still_read() -> None:
    plain = dated(b"2024:05:17 14:30:00")
    note = b"\xff\xe4" + struct.pack(">H", 65_000) + bytes(64_998)  # an application's own segment
    padded = plain[:2] + note * 3 + plain[2:]
    path_bytes = io.BytesIO(padded)
    facts = exif.facts_of_file(path_bytes, len(padded))
    assert (facts.taken_raw, facts.width) == (TAKEN, 64)


# --- damage -----------------------------------------------------------------------------------


def test_an_empty_file_and_a_file_of_zeros_are_told_apart() -> None:
    assert exif.read_facts(b"").problems == ("the file is empty (0 bytes)",)
    assert exif.read_facts(bytes(70_000)).problems == ("the file holds only zeros: the card did not keep it",)


def test_what_is_no_picture_is_told(tmp_path: Path) -> None:
    path = tmp_path / "IMG_0001.JPG"
    path.write_text("not a picture")
    facts = exif.read_facts(path)
    assert (facts.kind, facts.problems) == ("", ("not a picture that can be read",))


def test_a_file_that_is_not_there_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        exif.read_facts(tmp_path / "nowhere.jpg")


def test_a_png_has_a_size_and_no_date() -> None:
    buffer = io.BytesIO()
    Image.new("RGB", (30, 20)).save(buffer, "PNG")
    facts = exif.read_facts(buffer.getvalue())
    assert (facts.kind, facts.width, facts.height, facts.taken_raw) == ("PNG", 30, 20, None)


def test_a_jpeg_cut_within_its_header_still_gives_its_date() -> None:
    whole = jpeg(
        {piexif.ImageIFD.Make: b"Heronsgate"},
        {piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00", piexif.ExifIFD.UserComment: b"x" * 3000},
    )
    facts = exif.read_facts(whole[:2000])
    assert facts.taken_raw == TAKEN
    assert "the file breaks off inside its header" in facts.problems


def test_an_exif_part_of_the_wrong_length_still_gives_its_date() -> None:
    whole = bytearray(dated(b"2024:05:17 14:30:00"))
    at = whole.index(b"\xff\xe1")
    length = struct.unpack(">H", whole[at + 2 : at + 4])[0]
    whole[at + 2 : at + 4] = struct.pack(">H", length - 7)  # stray bytes follow
    facts = exif.read_facts(bytes(whole))
    assert facts.width == 64
    assert "the header has stray bytes between its parts" in facts.problems


def test_a_date_beyond_the_end_of_the_exif_part_is_told() -> None:
    whole = bytearray(dated(b"2024:05:17 14:30:00"))
    at = whole.index(b"Exif\0\0") + 6
    whole[at : at + 8] = b"MM\0*\xff\xff\xff\xf0"  # the first directory lies outside
    facts = exif.read_facts(bytes(whole))
    assert facts.taken_raw is None
    assert "the facts in the header (Exif) cannot be read" in facts.problems


def test_a_header_that_ends_before_the_picture_is_told() -> None:
    assert "the file ends before any picture data" in exif.read_facts(b"\xff\xd8\xff\xd9").problems
    assert "the file breaks off inside its header" in exif.read_facts(b"\xff\xd8").problems


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=3000))
def test_no_bytes_whatever_raise(noise: bytes) -> None:
    exif.read_facts(noise)
    exif.read_facts(b"\xff\xd8" + noise)
    exif.read_facts(b"\xff\xd8\xff\xe1\x04\x00Exif\0\0II*\0\x08\0\0\0" + noise)


WHOLE = jpeg(
    {piexif.ImageIFD.Make: b"Heronsgate", piexif.ImageIFD.Model: b"HG-4"},
    {
        piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00",
        piexif.ExifIFD.ExposureTime: (1, 125),
        piexif.ExifIFD.BodySerialNumber: b"0042",
    },
    {
        piexif.GPSIFD.GPSLatitudeRef: b"N",
        piexif.GPSIFD.GPSLatitude: ((48, 1), (1, 1), (1, 1)),
        piexif.GPSIFD.GPSLongitudeRef: b"W",
        piexif.GPSIFD.GPSLongitude: ((2, 1), (1, 1), (1, 1)),
    },
)


@settings(max_examples=500, deadline=None)
@given(st.data())
def test_a_header_with_any_bytes_spoilt_never_raises(data: st.DataObject) -> None:
    spoilt = bytearray(WHOLE)
    for _ in range(data.draw(st.integers(1, 8))):
        spoilt[data.draw(st.integers(2, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(2, len(spoilt)))
    facts = exif.read_facts(bytes(spoilt[:cut]))
    assert facts.gps_latitude_deg is None or -90 <= facts.gps_latitude_deg <= 90
    assert 1 <= facts.orientation <= 8


@pytest.mark.parametrize(
    ("value", "told"), [((-75, 10), -7.5), ((22, 1), 22.0), ((9000, 10), None), ((5, -1), None), ((5, 0), None)]
)
def test_the_ambient_temperature_is_read_from_its_own_tag(value: tuple[int, int], told: float | None) -> None:
    """Exif 2.32, tag 0x9400: °C as a signed ratio; a denominator of all ones means unknown."""
    assert exif.read_facts(jpeg(of_exposure={0x9400: value})).air_c == told
