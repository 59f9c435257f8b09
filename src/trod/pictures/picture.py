"""One picture: its facts, its light, its thumbnail, from one read and one scaled-down decode.

A spoilt picture is not an error: what can be seen of it is kept and the rest is told in `problems`.
"""

from __future__ import annotations

import contextlib
import errno
import io
import os
import secrets
import warnings
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

import numpy as np
from PIL import Image

from trod import limits
from trod.errors import DiskFull
from trod.pictures import exif, light, strip
from trod.pictures.exif import ExifFacts, JpegScan
from trod.pictures.light import LightFacts

THUMB_WIDTH, VIEW_WIDTH = 320, 1280
# Thumbnails are JPEG: of the same look, WebP took 35 times as long to write at 320 px for two thirds of the
# bytes (docs/measured.md).
THUMB_QUALITY, VIEW_QUALITY = 80, 82
# A very tall picture is bounded too.
TALLEST = 3
# A baseline JPEG is decoded scaled down, row by row: its size hardly matters. A progressive one, or another
# kind, must be held whole: 3 to 4 bytes a pixel.
MOST_PIXELS = limits.CARD_PICTURE_PIXELS
MOST_PIXELS_WHOLE = limits.CARD_PICTURE_PIXELS_WHOLE
MOST_FILE_BYTES = limits.CARD_PICTURE_BYTES

# We look at the size ourselves before anything is decoded, and tell it in words.
warnings.filterwarnings("ignore", category=Image.DecompressionBombWarning)


@dataclass(frozen=True, kw_only=True)
class PictureFacts:
    """What one file says.

    sha256 : as it was given. size_bytes : of the file.
    exif : from the header. light : from the pixels, None when there are none to be seen.
    top_strip_share, strip_share : height of the info strips at the top and at the bottom as a share of the picture, 0
    where none is plain to see.
    truncated : the end of the picture is missing; its thumbnail shows what is there.
    thumb, view : whether they were written. problems : the header's and the pixels', in plain words.
    """

    sha256: str
    size_bytes: int
    exif: ExifFacts
    light: LightFacts | None = None
    top_strip_share: float = 0.0
    strip_share: float = 0.0
    truncated: bool = False
    thumb: bool = False
    view: bool = False
    problems: tuple[str, ...] = ()

    @property
    def readable(self) -> bool:
        """Whether there is a picture to be seen."""
        return self.light is not None


def look(path: Path, *, thumb_to: Path | None = None, view_to: Path | None = None, sha256: str = "") -> PictureFacts:
    """Read one picture once: facts, light and, where asked, a thumbnail and a viewing size.

    path : the picture. thumb_to, view_to : JPEG files to be written (folders are made; an older one is
    replaced in one step). sha256 : handed through.
    Returns PictureFacts, for any bytes at all.
    Raises OSError when the file cannot be opened or read or a thumbnail cannot be written; DiskFull when
    the place for thumbnails is full.
    """
    with path.open("rb") as file:
        opened = _open(file)
        problems = list(opened.exif.problems) + opened.problems
        facts = PictureFacts(
            sha256=sha256,
            size_bytes=opened.size_bytes,
            exif=opened.exif,
            truncated=opened.truncated,
            problems=tuple(problems),
        )
        if opened.pixels is None:
            return facts
        turn = opened.exif.orientation
        image = _decode(opened.pixels, VIEW_WIDTH if view_to else THUMB_WIDTH, turn, problems)
    if image is None:
        return replace(facts, problems=tuple(problems))
    small = _fit(image, THUMB_WIDTH, turn)
    pixels = np.asarray(small)
    luma = light.luma_of(pixels)
    strips = strip.find(luma)
    measured = light.measure(pixels, strips=strips, luma=luma)
    if thumb_to:
        _write(_upright(small, turn), thumb_to, THUMB_QUALITY)
    if view_to:
        _write(_upright(_fit(image, VIEW_WIDTH, turn), turn), view_to, VIEW_QUALITY)
    return replace(
        facts,
        light=measured,
        top_strip_share=strips.top / luma.shape[0],
        strip_share=strips.bottom / luma.shape[0],
        thumb=thumb_to is not None,
        view=view_to is not None,
        problems=tuple(problems),
    )


def make_view(path: Path, view_to: Path, *, width: int = VIEW_WIDTH) -> bool:
    """Write a picture's viewing size (JPEG, `width` pixels wide or its own width when that is less).

    Returns False when there is no picture to be seen. Raises as `look`.
    """
    with path.open("rb") as file:
        opened = _open(file)
        if opened.pixels is None:
            return False
        turn = opened.exif.orientation
        image = _decode(opened.pixels, width, turn, [])
    if image is None:
        return False
    _write(_upright(_fit(image, width, turn), turn), view_to, VIEW_QUALITY)
    return True


@dataclass
class _Opened:
    """A file's facts, and where its pixels may be read from if they may be decoded at all."""

    size_bytes: int
    exif: ExifFacts
    problems: list[str]
    pixels: BinaryIO | None = None
    truncated: bool = False


def _open(file: BinaryIO) -> _Opened:
    size = os.fstat(file.fileno()).st_size
    head = file.read(exif.FIRST_READ_BYTES)
    if head[:2] == b"\xff\xd8":
        scan = exif.scan_jpeg(head, more=file.read)
        opened = _Opened(size, exif.facts_of_jpeg(scan), [])
        if scan.data_at is None or scan.width is None or scan.height is None:
            return opened
        if _may_decode(opened, scan.width * scan.height, whole=scan.progressive):
            opened.pixels = file
            if not _has_end(file, scan, size):
                opened.truncated = True
                opened.problems.append("the end of the picture is missing; the thumbnail shows what is there")
                # With an end marker the decoder leaves the missing rows grey instead of giving up.
                file.seek(0)
                opened.pixels = io.BytesIO(file.read() + b"\xff\xd9")
    else:
        file.seek(0)
        opened = _Opened(size, exif.facts_of_file(file, size), [])
        pixels = (opened.exif.width or 0) * (opened.exif.height or 0)
        if opened.exif.kind and _may_decode(opened, pixels, whole=True):
            opened.pixels = file
    file.seek(0)
    return opened


def _may_decode(opened: _Opened, pixels: int, *, whole: bool) -> bool:
    """Whether the decoder's memory stays within bounds; if not, the problem is noted."""
    if opened.size_bytes > MOST_FILE_BYTES:
        opened.problems.append(_too_large(opened.size_bytes))
    elif pixels > (MOST_PIXELS_WHOLE if whole else MOST_PIXELS):
        opened.problems.append(too_many_words(opened.exif.width or 0, opened.exif.height or 0))
    else:
        return True
    return False


def _has_end(file: BinaryIO, scan: JpegScan, size: int) -> bool:
    """Whether there is an end marker after the picture data.

    It cannot stand inside the data, so its absence means a picture cut short (perhaps with zeros after it).
    Looked for from the end, where it nearly always is.
    """
    begin = scan.data_at or 0
    block = 64 * 1024
    upto = size
    while upto > begin:
        at = max(begin, upto - block)
        file.seek(at)
        if file.read(upto - at).rfind(b"\xff\xd9") >= 0:
            return True
        upto = at + 1 if at > begin else begin  # one byte over, so that a marker across two blocks is seen
        block = 4 * 1024 * 1024
    return False


def _too_large(size: int) -> str:
    most = MOST_FILE_BYTES // 10**6
    return f"the file is {size / 1e6:.0f} MB, more than the {most} MB that are opened as a picture; not opened"


def too_many_words(width: int, height: int) -> str:
    """The words for a picture too large to be decoded."""
    return f"the header claims {width} × {height} pixels, more than can be opened safely; not opened"


def _stored_size(size: tuple[int, int], width: int, orientation: int) -> tuple[int, int]:
    """The size, before turning upright, of a picture `width` wide once upright; never enlarged."""
    across, down = size if orientation < 5 else size[::-1]
    scale = min(1.0, width / across, TALLEST * width / down)
    fitted = max(1, round(across * scale)), max(1, round(down * scale))
    return fitted if orientation < 5 else fitted[::-1]


def _decode(source: BinaryIO, width: int, orientation: int, problems: list[str]) -> Image.Image | None:
    try:
        image = Image.open(source)
        # Only JPEG heeds this: the decoder itself scales by 1/2, 1/4 or 1/8, to no less than is asked for.
        image.draft("RGB", _stored_size(image.size, width, orientation))
        image.load()
        return image if image.mode in ("L", "RGB") else image.convert("RGB")
    except Exception as error:  # Pillow's decoders raise what they like on hostile bytes
        if isinstance(error, OSError) and error.errno is not None:
            raise  # the disk, not the picture
        problems.append(f"the picture cannot be decoded ({_short(error)})")
        return None


def _short(error: Exception) -> str:
    return (str(error).split("\n", 1)[0] or type(error).__name__)[:80]


def _fit(image: Image.Image, width: int, orientation: int) -> Image.Image:
    size = _stored_size(image.size, width, orientation)
    return image if size == image.size else image.resize(size, Image.Resampling.BILINEAR)


# Exif orientation → how to turn the stored picture upright.
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


def _upright(image: Image.Image, orientation: int) -> Image.Image:
    turn = _TURNS.get(orientation)
    return image if turn is None else image.transpose(turn)


def write_thumb(image: Image.Image, thumb_to: Path) -> None:
    """Write the thumbnail of an upright image that is at hand. Raises as `look`."""
    rgb = image if image.mode in ("L", "RGB") else image.convert("RGB")
    _write(_fit(rgb, THUMB_WIDTH, 1), thumb_to, THUMB_QUALITY)


def _write(image: Image.Image, target: Path, quality: int) -> None:
    """Write a JPEG in one step: it is there whole or not at all. Without Exif, position or comment."""
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=quality, comment=b"")
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        try:
            part.write_bytes(buffer.getbuffer())
        except FileNotFoundError:
            target.parent.mkdir(parents=True, exist_ok=True)
            part.write_bytes(buffer.getbuffer())
        part.replace(target)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise DiskFull(
                f"No room for thumbnails in {target.parent}. Free some space and start again; "
                "the pictures themselves are not touched."
            ) from error
        raise
