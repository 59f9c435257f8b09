"""Which files the resampling test may judge: straight from a card, large, in colour, by day.

A file that went through an app, an editor or a message service may have been resized there; what its pixels then
show says nothing about the camera.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from PIL import Image

from trod.errors import NotEnoughEvidence, Stopped
from trod.limits import TARGET_PIXELS
from trod.pictures import exif, light, resampled, resolution
from trod.pictures.resampled import LEAST_MEGAPIXELS, LEAST_PICTURES, PictureTrace, ResampledVerdict

# Programs that edit pictures in general; a camera's own firmware may name itself in the same tag.
_EDITORS = (
    "photoshop",
    "lightroom",
    "gimp",
    "imagemagick",
    "darktable",
    "capture one",
    "affinity",
    "snapseed",
    "picasa",
)
_DARK = 0.12
_PROCESSED, _SOFTWARE, _CHANGED, _EXIF_IFD = 0x000B, 0x0131, 0x0132, 0x8769
_TAKEN, _WIDE, _HIGH = 0x9003, 0xA002, 0xA003


def judge(
    paths: Sequence[Path],
    *,
    progress: Callable[[int, int], None] = lambda _done, _of: None,
    stop: Callable[[], bool] = lambda: False,
) -> ResampledVerdict:
    """Were these pictures of one camera resampled?

    Raises NotEnoughEvidence with the reason when fewer than five of them may be judged; Stopped; OSError when the
    disk fails.
    """
    traces: list[PictureTrace] = []
    refused: list[str] = []
    for done, path in enumerate(paths):
        if stop():
            raise Stopped("The resampling test was stopped; nothing was changed.")
        progress(done, len(paths))
        try:
            traces.append(trace_of_file(path))
        except NotEnoughEvidence as why:
            refused.append(str(why))
    progress(len(paths), len(paths))
    if len(traces) < LEAST_PICTURES:
        have = f"{len(traces)} of {len(paths)} pictures can be judged"
        raise NotEnoughEvidence(
            have + (f" (the first that cannot: {refused[0]})" if refused else ""),
            need=f"{LEAST_PICTURES} are needed, by day, in colour, as the camera wrote them to the card",
        )
    return resampled.vote(traces)


def trace_of_file(path: Path) -> PictureTrace:
    """What one file shows.

    Raises NotEnoughEvidence when it may not be judged, with the reason; OSError when it cannot be read.
    """
    reason = why_not(path)
    if reason is None:
        pixels = resolution.read_levels(path)
        small = np.ascontiguousarray(pixels[::8, ::8])
        seen = light.measure(small)
        if seen.infrared:
            reason = "it has no colour (a night picture)"
        elif seen.brightness < _DARK:
            reason = "it is too dark"
        else:
            return resampled.trace_of(light.luma_of(pixels))
    raise NotEnoughEvidence(
        f"{path.name}: {reason}", need="the test holds for daylight pictures in colour, straight from the card"
    )


def why_not(path: Path) -> str | None:
    """Why a file's header bars it from being judged, in words; None when nothing does. Raises OSError."""
    with path.open("rb") as file:
        head = file.read(exif.FIRST_READ_BYTES)
        if head[:2] != b"\xff\xd8":
            return "it is no JPEG"
        scan = exif.scan_jpeg(head, more=file.read)
    if scan.data_at is None or not scan.width or not scan.height:
        return "its header is damaged"
    if scan.width * scan.height < LEAST_MEGAPIXELS * 1e6:
        return f"it has {scan.width * scan.height / 1e6:.2g} megapixels, fewer than {LEAST_MEGAPIXELS:g}"
    if scan.width * scan.height > TARGET_PIXELS:
        return "it has more pixels than can be opened safely"
    try:
        tags = Image.Exif()
        tags.load(b"Exif\0\0" + scan.exif if scan.exif else b"")
        inner = tags.get_ifd(_EXIF_IFD)
        said = inner.get(_WIDE), inner.get(_HIGH)
        software = str(tags.get(_SOFTWARE, "")).lower()
        processed = tags.get(_PROCESSED)
        changed, taken = _time(tags.get(_CHANGED)), _time(inner.get(_TAKEN))
    except Exception:  # Pillow's parsers raise what they like on hostile bytes
        return "its header cannot be read"
    if said == (None, None):
        return "its header does not say how many pixels the camera wrote"
    if said != (scan.width, scan.height):
        return f"its header says {said[0]} × {said[1]} pixels, but it has {scan.width} × {scan.height}"
    if processed or any(name in software for name in _EDITORS) or b"xmpMM:History" in scan.xmp:
        return "a program has edited it"
    if changed and taken and abs(changed - taken) > timedelta(seconds=5):
        return "it was changed after it was taken"
    return None


def _time(value: object) -> datetime | None:
    try:
        return datetime.strptime(str(value).strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
