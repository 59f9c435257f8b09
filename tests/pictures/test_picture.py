"""One picture, looked at once: sound ones, spoilt ones, hostile ones."""

from __future__ import annotations

import errno
import io
import os
import random
import struct
from datetime import datetime
from pathlib import Path

import numpy as np
import piexif
import pytest
from PIL import Image
from tests.pictures import scenes

from trod.errors import DiskFull
from trod.pictures import picture

TAGS = {
    "0th": {piexif.ImageIFD.Make: b"Heronsgate"},
    "Exif": {piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00"},
    "GPS": {
        piexif.GPSIFD.GPSLatitudeRef: b"N",
        piexif.GPSIFD.GPSLatitude: ((48, 1), (0, 1), (0, 1)),
        piexif.GPSIFD.GPSLongitudeRef: b"E",
        piexif.GPSIFD.GPSLongitude: ((14, 1), (0, 1), (0, 1)),
    },
}
pytestmark = pytest.mark.filterwarnings("ignore::UserWarning:PIL")


@pytest.fixture
def day(tmp_path: Path) -> Path:
    path = tmp_path / "MEAD0001.JPG"
    path.write_bytes(scenes.jpeg(scenes.with_strip(scenes.scene(1600, 1200)), tags=TAGS))
    return path


def size_of(path: Path) -> tuple[int, int]:
    with Image.open(path) as image:
        image.load()
        return image.size


def test_one_look_gives_facts_light_strip_and_thumbnail(day: Path, tmp_path: Path) -> None:
    thumb = tmp_path / "cache" / "ab" / "abcd.jpg"
    facts = picture.look(day, thumb_to=thumb, sha256="abcd")

    assert (facts.sha256, facts.size_bytes) == ("abcd", day.stat().st_size)
    assert facts.exif.taken_raw == datetime(2024, 5, 17, 14, 30)
    assert (facts.exif.width, facts.exif.height) == (1600, 1200)
    assert facts.light is not None and not facts.light.infrared
    assert 0.05 <= facts.strip_share <= 0.06
    assert (facts.thumb, facts.view, facts.truncated, facts.problems) == (True, False, False, ())
    assert size_of(thumb) == (320, 240)
    assert [p.name for p in thumb.parent.iterdir()] == ["abcd.jpg"]


def test_a_thumbnail_looks_like_its_picture(day: Path, tmp_path: Path) -> None:
    picture.look(day, thumb_to=tmp_path / "t.jpg")
    with Image.open(day) as whole, Image.open(tmp_path / "t.jpg") as thumb:
        wanted = np.asarray(whole.convert("RGB").resize((320, 240), Image.Resampling.BOX)).astype(int)
        assert np.abs(np.asarray(thumb).astype(int) - wanted).mean() < 6


def test_a_thumbnail_carries_neither_position_nor_comment(day: Path, tmp_path: Path) -> None:
    pixels = scenes.scene(800, 600)
    day.write_bytes(scenes.jpeg(pixels, tags=TAGS, comment=b"a secret place"))
    picture.look(day, thumb_to=tmp_path / "t.jpg", view_to=tmp_path / "v.jpg")
    for name in ("t.jpg", "v.jpg"):
        data = (tmp_path / name).read_bytes()
        assert b"Exif" not in data
        assert b"secret" not in data


def test_a_viewing_size_with_the_look_or_later_is_the_same(day: Path, tmp_path: Path) -> None:
    facts = picture.look(day, thumb_to=tmp_path / "t.jpg", view_to=tmp_path / "v.jpg")
    assert facts.view
    assert picture.make_view(day, tmp_path / "later.jpg")
    assert size_of(tmp_path / "v.jpg") == size_of(tmp_path / "later.jpg") == (1280, 960)
    assert (tmp_path / "v.jpg").read_bytes() == (tmp_path / "later.jpg").read_bytes()


def test_facts_do_not_hang_on_whether_a_thumbnail_is_asked_for(day: Path, tmp_path: Path) -> None:
    with_thumb = picture.look(day, thumb_to=tmp_path / "t.jpg")
    without = picture.look(day)
    assert with_thumb.light == without.light
    assert (without.thumb, list(tmp_path.glob("*.part"))) == (False, [])


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_camera_hung_on_its_side_gives_an_upright_thumbnail(orientation: int, tmp_path: Path) -> None:
    """Exif 2.32, Orientation: where the stored first row and first column belong."""
    pixels = np.zeros((600, 800, 3), dtype=np.uint8)
    pixels[:100, :100] = 255  # the stored corner of row 0 and column 0
    corner = {1: "lt", 2: "rt", 3: "rb", 4: "lb", 5: "lt", 6: "rt", 7: "rb", 8: "lb"}[orientation]
    path = tmp_path / "p.jpg"
    path.write_bytes(scenes.jpeg(pixels, tags={"0th": {piexif.ImageIFD.Orientation: orientation}}))
    facts = picture.look(path, thumb_to=tmp_path / "t.jpg")

    assert facts.exif.orientation == orientation
    upright = np.asarray(Image.open(tmp_path / "t.jpg").convert("L"))
    assert upright.shape == ((240, 320) if orientation < 5 else (427, 320))
    row = 5 if corner[1] == "t" else -5
    column = 5 if corner[0] == "l" else -5
    assert upright[row, column] > 200
    assert upright[-row, -column] < 50


def test_a_small_picture_is_not_blown_up(tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    path.write_bytes(scenes.jpeg(scenes.scene(200, 100)))
    picture.look(path, thumb_to=tmp_path / "t.jpg", view_to=tmp_path / "v.jpg")
    assert size_of(tmp_path / "t.jpg") == size_of(tmp_path / "v.jpg") == (200, 100)


@pytest.mark.parametrize("shape", [(8000, 10), (10, 8000), (1, 1)])
def test_pictures_of_odd_shapes_have_bounded_thumbnails(shape: tuple[int, int], tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    path.write_bytes(scenes.jpeg(np.zeros((*shape, 3), dtype=np.uint8)))
    assert picture.look(path, thumb_to=tmp_path / "t.jpg").thumb
    width, height = size_of(tmp_path / "t.jpg")
    assert 1 <= width <= 320 and 1 <= height <= 960


@pytest.mark.parametrize("mode", ["L", "CMYK", "RGB"])
def test_grey_and_print_colours_have_thumbnails_too(mode: str, tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    Image.fromarray(scenes.scene(800, 600)).convert(mode).save(path, "JPEG")
    facts = picture.look(path, thumb_to=tmp_path / "t.jpg")
    assert facts.thumb and facts.light is not None
    assert facts.light.infrared == (mode == "L")


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF", "BMP", "GIF"])
def test_other_kinds_of_picture_are_looked_at_as_well(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "p.x"
    Image.fromarray(scenes.scene(800, 600)).save(path, kind)
    facts = picture.look(path, thumb_to=tmp_path / "t.jpg")
    assert (facts.exif.kind, facts.thumb, size_of(tmp_path / "t.jpg")) == (kind, True, (320, 240))


# --- spoilt pictures ------------------------------------------------------------------------------


def test_a_picture_cut_short_has_a_thumbnail_of_what_is_there(day: Path, tmp_path: Path) -> None:
    whole = day.read_bytes()
    day.write_bytes(whole[: len(whole) * 6 // 10])
    facts = picture.look(day, thumb_to=tmp_path / "t.jpg")

    assert facts.truncated and facts.thumb
    assert facts.problems == ("the end of the picture is missing; the thumbnail shows what is there",)
    thumb = np.asarray(Image.open(tmp_path / "t.jpg")).astype(int)
    assert thumb[20:60].std() > 5  # sky and wood
    assert thumb[-20:].std() < 3  # nothing


def test_a_picture_that_ends_in_zeros_is_cut_short_too(day: Path) -> None:
    """As a card leaves it whose power went while it wrote."""
    whole = day.read_bytes()
    half = len(whole) // 2
    day.write_bytes(whole[:half] + bytes(len(whole) - half))
    assert picture.look(day).truncated


def test_bytes_after_the_end_are_no_harm(day: Path) -> None:
    """Some makers add their own after the picture."""
    day.write_bytes(day.read_bytes() + bytes(300_000) + b"maker's own")
    facts = picture.look(day)
    assert (facts.truncated, facts.problems) == (False, ())


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "the file is empty (0 bytes)"),
        (bytes(5000), "the file holds only zeros: the card did not keep it"),
        (b"GIF89a", "not a picture that can be read"),
        (b"text, not a picture", "not a picture that can be read"),
        (b"\xff\xd8\xff\xd9", "the file ends before any picture data"),
        (b"\xff\xd8\xff", "the file breaks off inside its header"),
    ],
)
def test_what_is_no_picture_is_told_and_has_no_thumbnail(data: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "IMG_0001.JPG"
    path.write_bytes(data)
    facts = picture.look(path, thumb_to=tmp_path / "t.jpg")
    assert words in facts.problems
    assert (facts.thumb, facts.light, facts.readable) == (False, None, False)
    assert not (tmp_path / "t.jpg").exists()
    assert not picture.make_view(path, tmp_path / "v.jpg")


def claim(data: bytes, width: int, height: int) -> bytes:
    """The same file with another size in its frame header."""
    spoilt = bytearray(data)
    for marker in (b"\xff\xc0", b"\xff\xc2"):
        at = spoilt.find(marker)
        if at >= 0:
            spoilt[at + 5 : at + 9] = struct.pack(">HH", height, width)
            return bytes(spoilt)
    raise AssertionError("no frame header")


def test_a_header_that_claims_a_gigapixel_is_refused_in_words(day: Path) -> None:
    day.write_bytes(claim(day.read_bytes(), 65_000, 65_000))
    facts = picture.look(day)
    assert facts.problems == ("the header claims 65000 × 65000 pixels, more than can be opened safely; not opened",)
    assert facts.light is None
    assert facts.exif.taken_raw is not None  # what the header says is still told


def test_a_progressive_picture_is_refused_sooner(tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    small = scenes.jpeg(scenes.scene(800, 600), progressive=True)
    path.write_bytes(small)
    assert picture.look(path).readable
    path.write_bytes(claim(small, 9_000, 9_000))
    assert "claims 9000 × 9000 pixels" in picture.look(path).problems[-1]


def test_a_png_bomb_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "p.png"
    Image.new("1", (16_000, 16_000)).save(path)
    facts = picture.look(path)
    assert facts.light is None
    assert any("pixels" in problem and "not opened" in problem for problem in facts.problems)
    Image.new("1", (7_000, 7_000)).save(path)
    assert "claims 7000 × 7000 pixels" in picture.look(path).problems[-1]


def test_a_file_too_large_for_a_picture_is_not_read_whole(day: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(picture, "MOST_FILE_BYTES", 1_000)
    facts = picture.look(day)
    assert facts.light is None
    assert "are opened as a picture" in facts.problems[-1]
    assert facts.exif.taken_raw is not None


@pytest.mark.long
def test_a_huge_picture_is_looked_at_within_bounded_memory(tmp_path: Path) -> None:
    """A 100-megapixel baseline JPEG, 300 MB when decoded whole: the look may add 60 MB at most."""
    import subprocess
    import sys

    path = tmp_path / "huge.jpg"
    Image.new("RGB", (12_000, 8_400), (90, 120, 60)).save(path, "JPEG", quality=30)
    code = (
        "import resource, sys; from pathlib import Path; from trod.pictures import picture\n"
        "peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024\n"
        "before = peak(); facts = picture.look(Path(sys.argv[1])); assert facts.readable, facts.problems\n"
        "print(peak() - before)"
    )
    pytest.importorskip("resource")
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    ran = subprocess.run(
        [sys.executable, "-c", code, str(path)], env=environment, capture_output=True, text=True, check=True
    )
    assert int(ran.stdout) < 60


def test_pictures_with_any_bytes_spoilt_never_raise(tmp_path: Path) -> None:
    """400 files with up to thirty bytes changed, half of them cut: always facts, never an exception."""
    whole = scenes.jpeg(scenes.with_strip(scenes.scene(320, 240)), tags=TAGS)
    dice = random.Random(7)
    path, seen = tmp_path / "p.jpg", 0
    for number in range(400):
        spoilt = bytearray(whole)
        for _ in range(dice.randint(1, 30)):
            spoilt[dice.randrange(2, len(spoilt))] = dice.randrange(256)
        path.write_bytes(spoilt[: dice.randrange(2, len(spoilt))] if number % 2 else spoilt)
        facts = picture.look(path, thumb_to=tmp_path / "t.jpg")
        seen += facts.readable
        assert facts.readable or facts.problems
    assert 50 < seen < 400


# --- the disk -------------------------------------------------------------------------------------


def test_a_file_that_is_not_there_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        picture.look(tmp_path / "nowhere.jpg")


def test_a_disk_that_fails_in_the_middle_is_an_os_error_and_no_bad_picture(
    day: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Failing(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            raise OSError(errno.EIO, "Input/output error")

    def failing_pixels(file: io.BufferedReader) -> picture._Opened:
        opened = real(file)
        opened.pixels = Failing()
        return opened

    real = picture._open
    monkeypatch.setattr(picture, "_open", failing_pixels)
    with pytest.raises(OSError, match="Input/output error"):
        picture.look(day)


def test_a_full_disk_is_told_and_leaves_no_half_thumbnail(
    day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "cache" / "t.jpg"
    target.parent.mkdir()
    target.write_bytes(b"the older one")

    def full(self: Path, data: bytes) -> int:
        with self.open("wb") as file:
            file.write(bytes(data)[:100])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(DiskFull, match=r"No room for thumbnails in .*Free some space and start again"):
        picture.look(day, thumb_to=target)
    assert [p.name for p in target.parent.iterdir()] == ["t.jpg"]
    assert target.read_bytes() == b"the older one"
