"""Clips: length, time and first frame; and what is left without the extra."""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from trod.pictures import clips

CHANGED = datetime(2024, 6, 1, 5, 0, tzinfo=UTC)


def make_clip(path: Path, *, made: str | None = None, codec: str = "mpeg4", seconds: float = 2.0) -> Path:
    """A clip of a slowly brightening green field, 25 frames a second."""
    av = pytest.importorskip("av", reason="the extra video (PyAV) is not installed")
    with av.open(str(path), "w") as container:
        if made:
            container.metadata["creation_time"] = made
        stream = container.add_stream(codec, rate=25)
        stream.width, stream.height = 320, 180
        stream.pix_fmt = "yuvj420p" if codec == "mjpeg" else "yuv420p"
        for number in range(round(seconds * 25)):
            pixels = np.zeros((180, 320, 3), dtype=np.uint8)
            pixels[..., 1] = 90 + number
            for field_form in stream.encode(av.VideoFrame.from_ndarray(pixels, format="rgb24")):
                container.mux(field_form)
        for field_form in stream.encode():
            container.mux(field_form)
    os.utime(path, (CHANGED.timestamp(), CHANGED.timestamp()))
    return path


def test_a_clip_tells_its_length_its_time_and_shows_its_first_frame(tmp_path: Path) -> None:
    path = make_clip(tmp_path / "MEAD0002.MP4", made="2024-05-17T14:30:00.000000Z")
    facts = clips.look(path, thumb_to=tmp_path / "cache" / "t.jpg", sha256="ab")

    assert facts.duration_s == pytest.approx(2.0, abs=0.05)
    assert (facts.made_utc, facts.made_from) == (datetime(2024, 5, 17, 14, 30, tzinfo=UTC), "container")
    assert (facts.width, facts.height, facts.frames_per_s) == (320, 180, 25)
    assert (facts.sha256, facts.size_bytes, facts.thumb) == ("ab", path.stat().st_size, True)
    assert facts.problems == ()
    with Image.open(tmp_path / "cache" / "t.jpg") as thumb:
        red, green, blue = np.asarray(thumb)[90, 160].tolist()
    assert abs(green - 90) < 12 and red < 15 and blue < 15


def test_a_clip_without_a_time_takes_its_files_and_says_so(tmp_path: Path) -> None:
    path = make_clip(tmp_path / "MEAD0003.AVI", codec="mjpeg")
    facts = clips.look(path)

    assert (facts.made_utc, facts.made_from) == (CHANGED, "file")
    assert facts.problems == ("the clip holds no time of its own; the time its file was last changed is taken",)
    assert facts.duration_s == pytest.approx(2.0, abs=0.1)
    assert not facts.thumb


def test_a_clock_that_was_never_set_is_no_time(tmp_path: Path) -> None:
    """QuickTime and MP4 count from 1904; nought there means no time."""
    path = make_clip(tmp_path / "c.mov", made="1970-01-01T00:00:00Z")
    assert clips.look(path).made_from == "file"


def test_a_clip_cut_short_is_told_and_never_raises(tmp_path: Path) -> None:
    path = make_clip(tmp_path / "c.avi", codec="mjpeg")
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    assert clips.look(path, thumb_to=tmp_path / "t.jpg").thumb

    path = make_clip(tmp_path / "d.mp4", made="2024-05-17T14:30:00Z")
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])  # its table of contents stands at the end
    facts = clips.look(path, thumb_to=tmp_path / "u.jpg")
    assert not facts.thumb
    assert any(problem.startswith("the clip cannot be read (") for problem in facts.problems)
    assert not (tmp_path / "u.jpg").exists()


@pytest.mark.parametrize("data", [b"not a clip", bytes(4000), b"RIFF\xff\xff\xff\xffAVI LIST", b"\0\0\0\x18ftypmp42"])
def test_what_is_no_clip_is_told(data: bytes, tmp_path: Path) -> None:
    pytest.importorskip("av", reason="the extra video (PyAV) is not installed")
    path = tmp_path / "c.mp4"
    path.write_bytes(data)
    facts = clips.look(path, thumb_to=tmp_path / "t.jpg")
    assert (facts.made_from, facts.thumb) == ("file", False)
    assert facts.problems
    assert str(tmp_path) not in " ".join(facts.problems)


def test_an_empty_clip_is_told(tmp_path: Path) -> None:
    path = tmp_path / "c.mp4"
    path.touch()
    assert clips.look(path).problems == ("the file is empty (0 bytes)",)


def test_what_is_no_clip_has_size_and_file_time_without_the_extra_and_says_how_to_get_the_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "c.mp4"
    path.write_bytes(b"x" * 1234)
    os.utime(path, (CHANGED.timestamp(), CHANGED.timestamp()))
    monkeypatch.setitem(sys.modules, "av", None)
    facts = clips.look(path, thumb_to=tmp_path / "t.jpg")

    assert (facts.size_bytes, facts.made_utc, facts.made_from) == (1234, CHANGED, "file")
    assert facts.problems == (
        "no still of the clip can be made without the package PyAV; where Trod was started with start.py,   "
        ".venv/bin/python -m pip install av  adds it",
        "the clip holds no time of its own; the time its file was last changed is taken",
    )


@pytest.mark.parametrize(
    ("name", "codec", "made"),
    [
        ("c.mp4", "mpeg4", "2024-05-17T14:30:00.000000Z"),
        ("c.mov", "mjpeg", "2031-12-31T23:59:59.000000Z"),
        ("c.mp4", "mpeg4", None),
        ("c.avi", "mjpeg", None),
    ],
)
def test_without_the_extra_a_clips_header_tells_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, codec: str, made: str | None
) -> None:
    path = make_clip(tmp_path / name, made=made, codec=codec)
    known = clips.look(path)
    monkeypatch.setitem(sys.modules, "av", None)
    facts = clips.look(path)

    assert facts.duration_s == pytest.approx(known.duration_s, abs=0.05)
    assert (facts.width, facts.height) == (known.width, known.height) == (320, 180)
    assert (facts.made_utc, facts.made_from) == (known.made_utc, known.made_from)
    assert facts.problems == known.problems
    if name.endswith("avi"):
        assert facts.frames_per_s == known.frames_per_s == 25


def test_a_clip_that_is_not_there_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        clips.look(tmp_path / "nowhere.mp4")
