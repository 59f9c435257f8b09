"""Header bytes → facts. The odd habits of makers stay in here.

Reads as little of the file as will do: the markers of a JPEG up to its picture data. Nothing in a picture's
header makes these functions raise; what is wrong with it is told in plain words in `ExifFacts.problems`.

References: Exif 2.32 (CIPA DC-008-2019): DateTimeOriginal 0x9003 is a local time without zone, blanks when
unknown; OffsetTimeOriginal 0x9011 is ±HH:MM; SubSecTimeOriginal 0x9291 holds the digits after the decimal
point ("05" is .05 s). JPEG markers: ISO/IEC 10918-1, table B.1.
"""

from __future__ import annotations

import contextlib
import io
import logging
import math
import re
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Literal

import exifread
from PIL import Image

from trod.pictures import metadata_reader

# A header ends long before this; a file that has no picture data by then is told as such and not read
# further.
MOST_HEADER_BYTES = 4 * 1024 * 1024
FIRST_READ_BYTES = 64 * 1024

# Pillow warns about spoilt tags; we say in words what is missing.
warnings.filterwarnings("ignore", module="PIL.TiffImagePlugin")

DateTag = Literal["DateTimeOriginal", "DateTimeDigitized", "DateTime"]


@dataclass(frozen=True, kw_only=True)
class ExifFacts:
    """What a picture's header says. None where it says nothing (or nothing that can be believed).

    taken_raw : naive, exactly as the camera wrote it, whole seconds. taken_from : the tag it comes from.
    utc_offset_min : the zone the camera wrote beside that time, if any; never guessed.
    subsecond_s : 0 ≤ s < 1.
    serial : of the camera's body. air_c : the ambient temperature by the standard's own tag, in °C.
    exposure_s, f_number, iso, focal_length_mm, focal_length_35mm_mm : of the exposure.
    gps_… : degrees north and east, metres above the sea.
    width, height : pixels as stored, before `orientation` (1 to 8) is applied.
    problems : in plain words, for a person.
    """

    taken_raw: datetime | None = None
    taken_from: DateTag | None = None
    utc_offset_min: int | None = None
    subsecond_s: float | None = None
    make: str = ""
    model: str = ""
    serial: str = ""
    air_c: float | None = None
    software: str = ""
    exposure_s: float | None = None
    f_number: float | None = None
    iso: int | None = None
    flash_fired: bool | None = None
    focal_length_mm: float | None = None
    focal_length_35mm_mm: float | None = None
    gps_latitude_deg: float | None = None
    gps_longitude_deg: float | None = None
    gps_altitude_m: float | None = None
    width: int | None = None
    height: int | None = None
    orientation: int = 1
    kind: str = ""
    problems: tuple[str, ...] = ()


def read_facts(source: Path | bytes) -> ExifFacts:
    """The facts in a picture's header.

    source : a file, of which only the header is read, or its bytes (the whole file or its beginning).
    Returns ExifFacts; `kind` is "JPEG", another format's name, or "" when it is no picture that can be read.
    Raises OSError when the file cannot be opened or read; nothing for what the bytes are.
    """
    if isinstance(source, bytes):
        return facts_of_file(io.BytesIO(source), len(source))
    with source.open("rb") as file:
        size = file.seek(0, io.SEEK_END)
        file.seek(0)
        return facts_of_file(file, size)


def facts_of_file(file: BinaryIO, size: int) -> ExifFacts:
    """As `read_facts`, from an open file that stands at its beginning."""
    if size == 0:
        return ExifFacts(problems=("the file is empty (0 bytes)",))
    head = file.read(FIRST_READ_BYTES)
    if head[:2] != b"\xff\xd8":
        return _facts_of_another_kind(file, head)
    scan = scan_jpeg(head, more=file.read)
    return facts_of_jpeg(scan)


def facts_of_jpeg(scan: JpegScan) -> ExifFacts:
    """The facts in markers that were walked already."""
    return _gather(scan.exif, scan.xmp, scan.width, scan.height, "JPEG", list(scan.problems))


def _facts_of_another_kind(file: BinaryIO, head: bytes) -> ExifFacts:
    """PNG, TIFF, WebP… through Pillow; its header reading is lazy too."""
    if not head.strip(b"\0"):
        return ExifFacts(problems=("the file holds only zeros: the card did not keep it",))
    try:
        file.seek(0)
        with Image.open(file) as image:
            width, height = image.size
            kind = image.format or ""
            exif = image.info.get("exif")
            tags = _tags_of(image.getexif())
    except OSError as error:
        # Pillow's own word for "no picture" is an OSError too; a disk that fails has an errno.
        if error.errno is not None:
            raise
        return ExifFacts(problems=("not a picture that can be read",))
    except Image.DecompressionBombError:
        return ExifFacts(problems=("the header claims far too many pixels; not opened",))
    except Exception:  # Pillow's parsers raise what they like on hostile bytes
        return ExifFacts(problems=("not a picture that can be read",))
    problems: list[str] = []
    if not tags and isinstance(exif, bytes):
        tags = _parse_tags(exif, problems)
    return _from_tags(tags, b"", width, height, kind, problems)


# --- JPEG markers ---------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class JpegScan:
    """The markers of a JPEG up to its picture data.

    exif : the payload of the Exif segment after "Exif\\0\\0" (b"" without one). xmp : likewise.
    data_at : where the entropy-coded data begins, or None when the header breaks off before it.
    progressive : such a file needs memory for all of its coefficients, however small it is wanted.
    """

    exif: bytes = b""
    xmp: bytes = b""
    width: int | None = None
    height: int | None = None
    progressive: bool = False
    data_at: int | None = None
    problems: tuple[str, ...] = ()


_XMP = b"http://ns.adobe.com/xap/1.0/\0"


def scan_jpeg(head: bytes, *, more: Callable[[int], bytes] = lambda _n: b"") -> JpegScan:
    """Walk the markers of a JPEG; nothing in them makes this raise.

    head : its first bytes. more : more(n) gives about n bytes after them, b"" at the end.
    """
    data = bytearray(head)

    def have(upto: int) -> bool:
        while len(data) < upto and len(data) < MOST_HEADER_BYTES:
            piece = more(max(FIRST_READ_BYTES, upto - len(data)))
            if not piece:
                break
            data.extend(piece)
        return len(data) >= upto

    exif = xmp = b""
    width = height = data_at = None
    progressive = False
    problems: list[str] = []
    at = 2
    while True:
        if not have(at + 2):
            problems.append("the file breaks off inside its header")
            break
        if data[at] != 0xFF:
            # Some makers write a wrong length or pad between segments: look on for the next marker.
            following = data.find(b"\xff", at, at + FIRST_READ_BYTES)
            while following >= 0 and have(following + 2) and data[following + 1] not in _SEGMENTS:
                following = data.find(b"\xff", following + 1, at + FIRST_READ_BYTES)
            if following < 0 or not have(following + 2):
                problems.append("the header is damaged")
                break
            problems.append("the header has stray bytes between its parts")
            at = following
            continue
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        if marker in _WITHOUT_LENGTH:
            at += 2
            continue
        if marker == 0xD9:
            problems.append("the file ends before any picture data")
            break
        if not have(at + 4):
            problems.append("the file breaks off inside its header")
            break
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        end = at + 2 + max(length, 2)
        whole = have(end)
        body = bytes(data[at + 4 : end])
        if marker == 0xE1 and body.startswith(b"Exif\0") and not exif:
            exif = body[6:]
        elif marker == 0xE1 and body.startswith(_XMP) and not xmp:
            xmp = body[len(_XMP) :]
        elif marker in _FRAMES and len(body) >= 5:
            height, width = int.from_bytes(body[1:3], "big"), int.from_bytes(body[3:5], "big")
            progressive = marker in _PROGRESSIVE
        if not whole:
            problems.append("the file breaks off inside its header")
            break
        if marker == 0xDA:
            data_at = end
            break
        at = end
    if width == 0 or height == 0:
        problems.append("the header gives the picture no width or height")
    return JpegScan(
        exif=exif,
        xmp=xmp,
        width=width or None,
        height=height or None,
        progressive=progressive,
        data_at=data_at,
        problems=tuple(dict.fromkeys(problems)),
    )


_WITHOUT_LENGTH = frozenset({0x00, 0x01, 0xD8, *range(0xD0, 0xD8)})
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_PROGRESSIVE = frozenset({0xC2, 0xC6, 0xCA, 0xCE})
# Markers that may follow in a header, for finding the way again after stray bytes.
_SEGMENTS = frozenset({0xC4, 0xDA, 0xDB, 0xDD, 0xFE, *range(0xE0, 0xF0)}) | _FRAMES

# --- tags -----------------------------------------------------------------------------------------

Tags = dict[str, object]

_IFD0 = {
    0x010F: "make",
    0x0110: "model",
    0x0112: "orientation",
    0x0131: "software",
    0x0132: "DateTime",
    0xC62F: "dng_serial",
}
_EXIF = {
    0x829A: "exposure",
    0x829D: "f_number",
    0x8827: "iso",
    0x9003: "DateTimeOriginal",
    0x9004: "DateTimeDigitized",
    0x9010: "OffsetTime",
    0x9011: "OffsetTimeOriginal",
    0x9012: "OffsetTimeDigitized",
    0x9209: "flash",
    0x920A: "focal",
    0x9290: "SubSecTime",
    0x9291: "SubSecTimeOriginal",
    0x9292: "SubSecTimeDigitized",
    0x9400: "air",
    0xA405: "focal35",
    0xA431: "serial",
}
_GPS = {1: "gps_ns", 2: "gps_lat", 3: "gps_ew", 4: "gps_lon", 5: "gps_below", 6: "gps_alt"}

# The names exifread gives to the same tags.
_READ_NAMES = {
    "Image Make": "make",
    "Image Model": "model",
    "Image Orientation": "orientation",
    "Image Software": "software",
    "Image DateTime": "DateTime",
    "Image CameraSerialNumber": "dng_serial",
    "EXIF ExposureTime": "exposure",
    "EXIF FNumber": "f_number",
    "EXIF ISOSpeedRatings": "iso",
    "EXIF PhotographicSensitivity": "iso",
    "EXIF DateTimeOriginal": "DateTimeOriginal",
    "EXIF DateTimeDigitized": "DateTimeDigitized",
    "EXIF OffsetTime": "OffsetTime",
    "EXIF OffsetTimeOriginal": "OffsetTimeOriginal",
    "EXIF OffsetTimeDigitized": "OffsetTimeDigitized",
    "EXIF Flash": "flash",
    "EXIF FocalLength": "focal",
    "EXIF SubSecTime": "SubSecTime",
    "EXIF SubSecTimeOriginal": "SubSecTimeOriginal",
    "EXIF SubSecTimeDigitized": "SubSecTimeDigitized",
    "EXIF FocalLengthIn35mmFilm": "focal35",
    "EXIF BodySerialNumber": "serial",
    "GPS GPSLatitudeRef": "gps_ns",
    "GPS GPSLatitude": "gps_lat",
    "GPS GPSLongitudeRef": "gps_ew",
    "GPS GPSLongitude": "gps_lon",
    "GPS GPSAltitudeRef": "gps_below",
    "GPS GPSAltitude": "gps_alt",
}


def _tags_of(exif: Image.Exif) -> Tags:
    found: Tags = {}
    for numbers, table in (
        (_IFD0, exif),
        (_EXIF, _ifd(exif, 0x8769)),
        (_GPS, _ifd(exif, 0x8825)),
    ):
        for number, name in numbers.items():
            with contextlib.suppress(Exception):  # one spoilt value must not cost the others
                if (value := table.get(number)) is not None:
                    found[name] = value
    # Some makers put the tags of the Exif part into the first directory.
    for number, name in _EXIF.items():
        with contextlib.suppress(Exception):
            if name not in found and (value := exif.get(number)) is not None:
                found[name] = value
    return found


def _ifd(exif: Image.Exif, pointer: int) -> Mapping[int, object]:
    try:
        return exif.get_ifd(pointer)
    except Exception:
        return {}


def _parse_tags(exif: bytes, problems: list[str]) -> Tags:
    """Pillow first; exifread, which forgives more, when Pillow fails or finds no date."""
    tags: Tags = {}
    with contextlib.suppress(Exception):
        loaded = Image.Exif()
        loaded.load(b"Exif\0\0" + exif.removeprefix(b"Exif\0\0"))
        tags = _tags_of(loaded)
    if "DateTimeOriginal" in tags:
        return tags
    second = _parse_with_exifread(exif)
    missing = {name: value for name, value in second.items() if name not in tags}
    if not tags and not missing:
        problems.append("the facts in the header (Exif) cannot be read")
    return tags | missing


class _Bounded(io.BytesIO):
    """Bytes that can be read only so often.

    exifread believes a spoilt header that claims 65 535 tags; a sound one is read in a few hundred steps.
    """

    steps_left = 8_000

    def read(self, size: int | None = -1) -> bytes:
        self.steps_left -= 1
        if self.steps_left < 0:
            raise EOFError("more parts than any header has")
        return super().read(size)


def _parse_with_exifread(exif: bytes) -> Tags:
    logging.getLogger("exifread").setLevel(logging.CRITICAL)  # it warns about what we tell ourselves
    found: Tags = {}
    try:
        # The payload of the Exif segment is a TIFF file by itself.
        read = exifread.process_file(_Bounded(exif), details=False)
    except Exception:
        return found
    for their_name, ours in _READ_NAMES.items():
        if their_name in read and ours not in found:
            found[ours] = _plain(read[their_name].values)
    return found


def _plain(value: object) -> object:
    """exifread's lists of its own ratios, as plain values."""
    if isinstance(value, list):
        numbers = tuple(_ratio(v) for v in value)
        return numbers[0] if len(numbers) == 1 else numbers
    return value


def _ratio(value: object) -> object:
    top, bottom = getattr(value, "num", None), getattr(value, "den", None)
    if top is not None and bottom is not None:
        return top / bottom if bottom else math.nan
    return value


# --- values ---------------------------------------------------------------------------------------


def _gather(
    exif: bytes,
    xmp: bytes,
    width: int | None,
    height: int | None,
    kind: str,
    problems: list[str],
) -> ExifFacts:
    if exif:
        tags = _parse_tags(exif, problems)
    else:
        tags = {}
        problems.append("the header has no facts about the exposure (no Exif)")
    return _from_tags(tags, xmp, width, height, kind, problems)


def _from_tags(
    tags: Tags, xmp: bytes, width: int | None, height: int | None, kind: str, problems: list[str]
) -> ExifFacts:
    taken_raw, taken_from, offset_min, subsecond_s = _taken(tags, problems)
    latitude, longitude, altitude = _position(tags, problems)
    orientation = _whole(tags.get("orientation"))
    if orientation is None:
        orientation = 1
    elif not 1 <= orientation <= 8:
        problems.append(f"the header gives an orientation of {orientation}, which is none; taken as upright")
        orientation = 1
    flash = _whole(tags.get("flash"))
    serial = _text(tags.get("serial")) or _text(tags.get("dng_serial")) or _serial_in_xmp(xmp)
    return ExifFacts(
        taken_raw=taken_raw,
        taken_from=taken_from,
        utc_offset_min=offset_min,
        subsecond_s=subsecond_s,
        make=_text(tags.get("make")),
        model=_text(tags.get("model")),
        serial=serial,
        air_c=_air(tags.get("air")),
        software=_text(tags.get("software")),
        exposure_s=_above_0(tags.get("exposure")),
        f_number=_above_0(tags.get("f_number")),
        iso=_whole(_above_0(tags.get("iso"))),
        flash_fired=None if flash is None else bool(flash & 1),
        focal_length_mm=_above_0(tags.get("focal")),
        focal_length_35mm_mm=_above_0(tags.get("focal35")),
        gps_latitude_deg=latitude,
        gps_longitude_deg=longitude,
        gps_altitude_m=altitude,
        width=width,
        height=height,
        orientation=orientation,
        kind=kind,
        problems=tuple(dict.fromkeys(problems)),
    )


def _text(value: object) -> str:
    """Up to the first NUL, without blanks and what is no text. Serials come as numbers too."""
    if isinstance(value, tuple):
        value = value[0] if value else ""
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if value is None:
        return ""
    text = str(value).split("\0", 1)[0].strip()
    return "".join(c for c in text if c.isprintable())[:200]


def _number(value: object) -> float | None:
    if isinstance(value, tuple):
        value = value[0] if value else None
    if value is None or isinstance(value, (bytes, str)):
        return None
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) else None


def _air(value: object) -> float | None:
    """Exif 2.32, 0x9400: °C; a denominator of all ones means unknown."""
    if getattr(value, "denominator", 1) in (-1, 0xFFFFFFFF):
        return None
    return metadata_reader.of_air(_number(value))


def _above_0(value: object) -> float | None:
    number = _number(value)
    return number if number is not None and number > 0 else None


def _whole(value: object) -> int | None:
    number = _number(value)
    return None if number is None else round(number)


_DATE = re.compile(
    r"(?P<year>\d{4})[:/.\- ] ?(?P<month>\d{1,2})[:/.\- ] ?(?P<day>\d{1,2})"
    r"[T\s]+(?P<hour>\d{1,2})[:.\-h] ?(?P<minute>\d{1,2})(?:[:.\-] ?(?P<second>\d{1,2}))?"
    r"(?:[.,](?P<fraction>\d+))?\s*(?P<half>[AaPp]\.?[Mm]\.?)?\s*(?P<zone>Z|[+\-]\d{2}:?\d{2})?"
)


@dataclass(frozen=True)
class _Date:
    when: datetime
    fraction: str
    zone: str


def _parse_date(text: str) -> _Date | str | None:
    """A date, or in words what is wrong with it; None when it was left blank."""
    if not text.strip(" :\0"):
        return None
    if not text.strip(" :0T\0-"):
        return "the camera wrote a date of zeros: its clock was not set"
    match = _DATE.fullmatch(text.strip())
    if match is None:
        return f"the date {text[:40]!r} is not in any form that can be read for sure"
    hour = int(match["hour"])
    if match["half"]:
        if not 1 <= hour <= 12:
            return f"the date {text[:40]!r} is not in any form that can be read for sure"
        hour = hour % 12 + (12 if match["half"][0] in "pP" else 0)
    try:
        when = datetime(
            int(match["year"]),
            int(match["month"]),
            int(match["day"]),
            hour,
            int(match["minute"]),
            int(match["second"] or 0),
        )
    except ValueError:
        return f"the date {text[:40]!r} does not exist"
    return _Date(when, match["fraction"] or "", match["zone"] or "")


def _taken(tags: Tags, problems: list[str]) -> tuple[datetime | None, DateTag | None, int | None, float | None]:
    names: tuple[tuple[DateTag, str, str], ...] = (
        ("DateTimeOriginal", "OffsetTimeOriginal", "SubSecTimeOriginal"),
        ("DateTimeDigitized", "OffsetTimeDigitized", "SubSecTimeDigitized"),
        ("DateTime", "OffsetTime", "SubSecTime"),
    )
    blank = False
    for name, offset_name, fraction_name in names:
        if name not in tags:
            continue
        parsed = _parse_date(_text(tags[name]))
        if parsed is None:
            blank = True
            continue
        if isinstance(parsed, str):
            problems.append(parsed)
            continue
        if name != "DateTimeOriginal":
            problems.append(f"the time is from {name}: the camera wrote no time of the exposure itself")
        # Only the tag that belongs to this date may speak for it.
        zone = _text(tags.get(offset_name)) or parsed.zone
        offset_min = _offset(zone, problems)
        return parsed.when, name, offset_min, _fraction(tags.get(fraction_name), parsed.fraction, problems)
    if tags:
        problems.append("the camera left the date blank" if blank else "the header has no date")
    return None, None, None, None


def _offset(text: str, problems: list[str]) -> int | None:
    if not text.strip(" :"):
        return None
    if text == "Z":
        return 0
    match = re.fullmatch(r"([+\-])(\d{1,2}):?(\d{2})", text)
    if match:
        minutes = int(match[2]) * 60 + int(match[3])
        if minutes <= 14 * 60 and int(match[3]) < 60:
            return -minutes if match[1] == "-" else minutes
    problems.append(f"the zone {text[:20]!r} beside the date cannot be read; the time is taken without zone")
    return None


def _fraction(value: object, in_date: str, problems: list[str]) -> float | None:
    digits = _text(value) or in_date
    if not digits:
        return None
    if not (digits.isascii() and digits.isdigit()):
        problems.append(f"the parts of a second {digits[:20]!r} are no digits; left out")
        return None
    return min(float(f"0.{digits}"), math.nextafter(1.0, 0.0))


def _position(tags: Tags, problems: list[str]) -> tuple[float | None, float | None, float | None]:
    if "gps_lat" not in tags or "gps_lon" not in tags:
        return None, None, None
    latitude = _degrees(tags["gps_lat"], _text(tags.get("gps_ns")).upper(), "N", "S", 90)
    longitude = _degrees(tags["gps_lon"], _text(tags.get("gps_ew")).upper(), "E", "W", 180)
    if latitude is None or longitude is None:
        problems.append("the position in the header cannot be read")
        return None, None, None
    if latitude == 0 and longitude == 0:
        problems.append("the position in the header is 0° 0°: the receiver had found none")
        return None, None, None
    altitude = _number(tags.get("gps_alt"))
    below = tags.get("gps_below")
    below = below[0] if isinstance(below, (bytes, tuple)) and below else below
    if altitude is not None and _number(below) == 1:
        altitude = -altitude
    return latitude, longitude, altitude


def _degrees(value: object, side: str, plus: str, minus: str, most: float) -> float | None:
    if side[:1] not in (plus, minus) or not side or not isinstance(value, tuple):
        return None
    parts = [_number(v) for v in value[:3]]
    if not parts or any(p is None or p < 0 for p in parts):
        return None
    degrees = math.fsum(p / 60.0**i for i, p in enumerate(parts) if p is not None)
    if degrees > most:
        return None
    return -degrees if side[:1] == minus else degrees


# Exif 2.31 for XMP (CIPA DC-010-2012) names it exifEX:BodySerialNumber, as an attribute or an element.
_XMP_SERIAL = re.compile(rb"""exifEX:BodySerialNumber(?:\s*=\s*["']([^"'<]{1,100})|>([^<]{1,100})<)""")


def _serial_in_xmp(xmp: bytes) -> str:
    match = _XMP_SERIAL.search(xmp)
    return _text(match[1] or match[2]) if match else ""
