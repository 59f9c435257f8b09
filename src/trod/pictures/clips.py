"""One clip (video): how long, when, and its first frame.

A still of a clip needs the extra `video` (PyAV). Without it a clip has what its header says (`clip_header`), and tells
how to get the rest.
"""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from PIL import Image

from trod.pictures import clip_header, picture

CLIP_ENDINGS = frozenset({".avi", ".mp4", ".mov", ".m4v", ".3gp", ".mkv", ".mts", ".mpg", ".mpeg", ".wmv"})
NEEDS_EXTRA = (
    "no still of the clip can be made without the package PyAV; where Trod was started with start.py, "
    "  .venv/bin/python -m pip install av  adds it"
)
NO_TIME = "the clip holds no time of its own; the time its file was last changed is taken"
# Header times before this are a clock that was never set: containers count from 1904 or 1970.
_NO_TIME_BEFORE = datetime(1990, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class ClipFacts:
    """What one clip says.

    made_utc : when it was made, aware. Containers state UTC, but many cameras write their own wall clock
    there and call it UTC: compare it with the camera's pictures before it is believed.
    made_from : "container" or, when it holds no time, "file" (the file's last change: on a card that is the
    camera's own clock, after copying it may be anything).
    duration_s, width, height, frames_per_s : None when not known.
    """

    sha256: str
    size_bytes: int
    made_utc: datetime
    made_from: Literal["container", "file"]
    duration_s: float | None = None
    width: int | None = None
    height: int | None = None
    frames_per_s: float | None = None
    thumb: bool = False
    problems: tuple[str, ...] = ()


def look(path: Path, *, thumb_to: Path | None = None, sha256: str = "") -> ClipFacts:
    """Read one clip: its facts and, where asked, a thumbnail of its first frame (JPEG).

    Returns ClipFacts for any bytes at all; what is wrong is told in `problems`.
    Raises OSError when the file cannot be opened or the thumbnail cannot be written; DiskFull as
    picture.look.
    """
    status = path.stat()
    facts = ClipFacts(
        sha256=sha256,
        size_bytes=status.st_size,
        made_utc=datetime.fromtimestamp(status.st_mtime, UTC),
        made_from="file",
    )
    if status.st_size == 0:
        return replace(facts, problems=("the file is empty (0 bytes)",))
    try:
        import av
    except ImportError:
        return _by_header(path, facts, wanted=thumb_to is not None)
    with path.open("rb") as file:
        problems: list[str] = []
        first: Image.Image | None = None
        found: dict[str, Any] = {}
        try:
            with av.open(file, mode="r", metadata_errors="replace") as container:
                found = _container_facts(container, av.time_base)
                if thumb_to is not None:
                    first = _first_frame(container, problems)
        except Exception as error:  # a foreign library on hostile bytes
            if isinstance(error, OSError) and not isinstance(error, av.FFmpegError):
                raise
            problems.append(f"the clip cannot be read ({_short(error)})")
    if "made_utc" not in found:
        problems.append(NO_TIME)
    if first is not None and thumb_to is not None:
        picture.write_thumb(first, thumb_to)
    return replace(facts, **found, thumb=first is not None and thumb_to is not None, problems=tuple(problems))


def _by_header(path: Path, facts: ClipFacts, *, wanted: bool) -> ClipFacts:
    """What can be told without the extra. wanted : whether a still was asked for."""
    with path.open("rb") as file:
        header = clip_header.read(file)
    made = header.made if header.made is not None and header.made >= _NO_TIME_BEFORE else None
    problems = [NEEDS_EXTRA] if wanted else []
    if made is None:
        problems.append(NO_TIME)
    return replace(
        facts,
        duration_s=header.duration_s,
        width=header.width,
        height=header.height,
        frames_per_s=header.frames_per_s,
        made_utc=made or facts.made_utc,
        made_from="container" if made else "file",
        problems=tuple(problems),
    )


def _short(error: Exception) -> str:
    # An FFmpeg error's text ends in the name of the file, which is no news here.
    words = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return str(words).split("\n", 1)[0][:80]


def _container_facts(container: Any, time_base: int) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if container.duration and container.duration > 0:
        found["duration_s"] = float(container.duration) / time_base
    if container.streams.video:
        stream = container.streams.video[0]
        found["width"], found["height"] = stream.width or None, stream.height or None
        if stream.average_rate:
            found["frames_per_s"] = float(stream.average_rate)
        if "duration_s" not in found and stream.duration and stream.time_base:
            found["duration_s"] = float(stream.duration * stream.time_base)
    made = _time_in(container.metadata)
    if made is not None:
        found["made_utc"], found["made_from"] = made, "container"
    if not math.isfinite(found.get("duration_s", 0.0)):
        del found["duration_s"]
    return found


def _time_in(metadata: Any) -> datetime | None:
    for key in ("creation_time", "date"):
        text = metadata.get(key)
        if not text:
            continue
        with contextlib.suppress(ValueError):
            made = datetime.fromisoformat(str(text).strip())
            if made.tzinfo is None:
                # Only `creation_time` is UTC by the container's own rule; another naive text is not guessed
                # at.
                if key != "creation_time":
                    continue
                made = made.replace(tzinfo=UTC)
            if made >= _NO_TIME_BEFORE:
                return made.astimezone(UTC)
    return None


def _first_frame(container: Any, problems: list[str]) -> Image.Image | None:
    if not container.streams.video:
        problems.append("the clip has no pictures in it")
        return None
    stream = container.streams.video[0]
    if (stream.width or 0) * (stream.height or 0) > picture.MOST_PIXELS_WHOLE:
        problems.append(picture.too_many_words(stream.width, stream.height))
        return None
    stream.thread_type = "NONE"
    try:
        for frame in container.decode(stream):
            image: Image.Image = frame.to_image()
            return image
    except Exception as error:
        problems.append(f"no frame of the clip can be decoded ({_short(error)})")
        return None
    problems.append("the clip has no pictures in it")
    return None
