"""Which files may be judged, and the whole way from five files to a verdict."""

from __future__ import annotations

from pathlib import Path

import native_camera
import numpy as np
import piexif
import pytest
from PIL import Image

from trod.errors import NotEnoughEvidence, Stopped
from trod.pictures import untouched

TAKEN = b"2025:05:17 14:30:00"
INNER, BASE = piexif.ExifIFD, piexif.ImageIFD


def header(width: int, height: int, **more: bytes | int) -> bytes:
    base = {
        BASE.Make: b"Heronsgate",
        BASE.DateTime: more.get("changed", TAKEN),
        BASE.Software: more.get("software", b"v1.04"),
    }
    inner = {INNER.DateTimeOriginal: TAKEN, INNER.PixelXDimension: width, INNER.PixelYDimension: height}
    if "processed" in more:
        base[BASE.ProcessingSoftware] = more["processed"]
    return piexif.dump({"0th": base, "Exif": inner})


def save(path: Path, *, width: int = 3600, height: int = 2400, exif: bytes | None = None, level: int = 120) -> Path:
    """A cheap coloured picture of 8.6 megapixels."""
    small = np.random.default_rng(1).integers(level - 60, level + 60, (30, 45, 3)).clip(0, 255).astype(np.uint8)
    image = Image.fromarray(small).resize((width, height), Image.Resampling.NEAREST)
    image.save(path, quality=80, exif=header(width, height) if exif is None else exif)
    return path


def test_a_file_as_the_camera_wrote_it_may_be_judged(tmp_path: Path) -> None:
    assert untouched.why_not(save(tmp_path / "a.jpg")) is None


@pytest.mark.parametrize(
    ("exif", "reason"),
    [
        (header(5200, 3900), "its header says 5200 × 3900 pixels, but it has 3600 × 2400"),
        (b"", "its header does not say how many pixels the camera wrote"),
        (b"Exif\0\0junk that is no header", "its header cannot be read"),
        (header(3600, 2400, software=b"GIMP 2.10"), "a program has edited it"),
        (header(3600, 2400, processed=b"something"), "a program has edited it"),
        (header(3600, 2400, changed=b"2025:06:01 08:00:00"), "it was changed after it was taken"),
    ],
)
def test_a_file_that_went_through_other_hands_is_refused(tmp_path: Path, exif: bytes, reason: str) -> None:
    told = untouched.why_not(save(tmp_path / "a.jpg", exif=exif))

    if reason == "its header cannot be read":  # a parser may also take junk for an empty header
        assert told in (reason, "its header does not say how many pixels the camera wrote")
    else:
        assert told == reason


def test_small_broken_and_foreign_files_are_refused(tmp_path: Path) -> None:
    assert untouched.why_not(save(tmp_path / "s.jpg", width=1500, height=1000)) == (
        "it has 1.5 megapixels, fewer than 8"
    )
    (tmp_path / "cut.jpg").write_bytes((tmp_path / "s.jpg").read_bytes()[:100])
    assert untouched.why_not(tmp_path / "cut.jpg") == "its header is damaged"
    (tmp_path / "t.txt").write_text("words", encoding="utf-8")
    assert untouched.why_not(tmp_path / "t.txt") == "it is no JPEG"
    with pytest.raises(FileNotFoundError):
        untouched.why_not(tmp_path / "absent.jpg")


def test_night_pictures_and_dark_ones_are_refused_in_words(tmp_path: Path) -> None:
    grey = Image.fromarray(np.full((2400, 3600), 90, np.uint8))
    grey.save(tmp_path / "night.jpg", exif=header(3600, 2400))
    with pytest.raises(NotEnoughEvidence) as told:
        untouched.trace_of_file(tmp_path / "night.jpg")
    assert str(told.value) == (
        "night.jpg: it has no colour (a night picture); "
        "the test holds for daylight pictures in colour, straight from the card"
    )
    with pytest.raises(NotEnoughEvidence, match="it is too dark"):
        untouched.trace_of_file(save(tmp_path / "dusk.jpg", level=0))


def test_too_few_that_may_be_judged_say_why(tmp_path: Path) -> None:
    (tmp_path / "t.txt").write_text("words", encoding="utf-8")
    with pytest.raises(NotEnoughEvidence) as told:
        untouched.judge([tmp_path / "t.txt"])

    assert str(told.value).startswith("0 of 1 pictures can be judged (the first that cannot: t.txt: it is no JPEG;")
    with pytest.raises(Stopped):
        untouched.judge([tmp_path / "t.txt"], stop=lambda: True)


@pytest.mark.long
def test_five_enlarged_files_of_a_simple_camera_are_told_with_their_megapixels(tmp_path: Path) -> None:
    paths = []
    for i in range(5):
        rng = np.random.default_rng(50 + i)
        native = native_camera.native(
            native_camera.scene(1600, 2132, rng), lens_px=0.5, demosaic="bilinear", noise=2, rng=rng
        )
        big = native_camera.enlarged(native, (3290, 2468), Image.Resampling.BILINEAR)
        path = tmp_path / f"{i}.jpg"
        Image.fromarray(np.rint(big).astype(np.uint8)).save(path, quality=95, exif=header(3290, 2468))
        paths.append(path)
    steps: list[int] = []

    told = untouched.judge(paths, progress=lambda done, _of: steps.append(done))

    assert told.verdict == "resampled"
    assert told.native_megapixels == pytest.approx(2.132 * 1.6, rel=0.05)
    assert steps == [0, 1, 2, 3, 4, 5]
