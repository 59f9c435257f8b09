"""Small cards for tests, of real JPEG files with EXIF: quick to make, no two files alike."""

from __future__ import annotations

import io
import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zlib import crc32

import piexif
from PIL import Image

FIRST = datetime(2026, 5, 1, 6, 0, 0)


def jpeg(
    mark: str,
    taken: datetime | None,
    *,
    serial: str = "INV-001",
    make: str = "Tarnbeckle",
    model: str = "Lanthorn 3",
    size: tuple[int, int] = (64, 48),
    grey: bool = False,
    subsecond: str = "",
    place: tuple[float, float] | None = None,
) -> bytes:
    """A JPEG file whose bytes depend on all that is given. taken : on the camera's clock, or None."""
    shade = crc32(mark.encode())
    colours = [(shade >> k) & 255 for k in (0, 8, 16)]
    image = Image.new("RGB", size, (colours[0],) * 3 if grey else tuple(colours))
    image.putpixel((shade % size[0], shade % size[1]), (255, 255, 255))
    exif: dict[str, dict[int, Any]] = {"0th": {}, "Exif": {}}
    if make:
        exif["0th"][piexif.ImageIFD.Make] = make.encode()
    if model:
        exif["0th"][piexif.ImageIFD.Model] = model.encode()
    exif["0th"][piexif.ImageIFD.ImageDescription] = mark.encode()
    if taken is not None:
        exif["Exif"][piexif.ExifIFD.DateTimeOriginal] = f"{taken:%Y:%m:%d %H:%M:%S}".encode()
    if subsecond:
        exif["Exif"][piexif.ExifIFD.SubSecTimeOriginal] = subsecond.encode()
    if serial:
        exif["Exif"][piexif.ExifIFD.BodySerialNumber] = serial.encode()
    if place:
        exif["GPS"] = {
            piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: _dms(place[0]),
            piexif.GPSIFD.GPSLongitudeRef: b"E", piexif.GPSIFD.GPSLongitude: _dms(place[1]),
        }  # fmt: skip
    out = io.BytesIO()
    image.save(out, "JPEG", quality=60, exif=piexif.dump(exif))
    return out.getvalue()


def _dms(degrees: float) -> tuple[tuple[int, int], ...]:
    return ((int(degrees), 1), (0, 1), (round((degrees % 1) * 3_600_000), 1000))


@dataclass
class Pulled:
    """A card in the making. `bursts` puts files on it with numbers that go on counting."""

    folder: Path
    serial: str = "INV-001"
    letters: str = "LANT"
    tail: str = "TARNB"
    number: int = 1
    number_of_folder: int = 100
    more: dict[str, Any] = field(default_factory=dict)

    def next_path(self) -> Path:
        path = self.folder / "DCIM" / f"{self.number_of_folder}{self.tail}" / f"{self.letters}{self.number:04d}.JPG"
        self.number += 1
        if self.number > 9999:
            self.number, self.number_of_folder = 1, self.number_of_folder + 1
        path.parent.mkdir(parents=True, exist_ok=True)
        return path

    def shoot(self, taken: datetime | None, **more: Any) -> Path:
        """One picture at a time on the camera's clock."""
        path = self.next_path()
        mark = f"{self.folder.name}/{path.parent.name}/{path.name}/{taken}"
        path.write_bytes(jpeg(mark, taken, **{"serial": self.serial, **self.more, **more}))
        stamp = (taken or FIRST).replace(tzinfo=UTC).timestamp()
        os.utime(path, (stamp, stamp))
        return path

    def bursts(self, starts: Iterable[datetime], *, frames: int = 3, apart_s: float = 1) -> list[Path]:
        """A few pictures from each of these times on."""
        return [self.shoot(at + timedelta(seconds=k * apart_s)) for at in starts for k in range(frames)]


def days(many: int, first: datetime = FIRST) -> list[datetime]:
    """One time a day."""
    return [first + timedelta(days=k) for k in range(many)]
