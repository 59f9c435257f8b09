"""One file looked into, in whatever process: no Django here, so that helpers start quickly."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from trod.pictures import clips, picture

LONGEST_PROBLEM = 200
AIR_TAG = "EXIF:AmbientTemperature"


@dataclass(frozen=True)
class Task:
    """What to look into. thumb: where its thumbnail goes, or None when there is one.

    changed_ns : when the file was last changed on the card, as its bag's papers say; None where they do not.
    """

    pk: int
    path: str
    sha256: str
    clip: bool
    thumb: str | None
    told: str = ""
    changed_ns: int | None = None


def look(task: Task) -> dict[str, Any]:
    """A file's facts as values of a picture's row. A spoilt file is told in `problem`, not raised."""
    path = Path(task.path)
    thumb_to = Path(task.thumb) if task.thumb else None
    try:
        return _clip(task, path, thumb_to) if task.clip else _picture(task, path, thumb_to)
    except OSError as problem:
        if problem.errno is None:
            raise
        return {
            "problem": _problem(task.told, (f"cannot be read ({problem.strerror})",)),
            "time_from": "none",
        }


def _picture(task: Task, path: Path, thumb_to: Path | None) -> dict[str, Any]:
    facts = picture.look(path, thumb_to=thumb_to, sha256=task.sha256)
    exif, light = facts.exif, facts.light
    values: dict[str, Any] = {
        "width": exif.width,
        "height": exif.height,
        "make": exif.make[:80],
        "model": exif.model[:80],
        "serial": exif.serial[:80],
        "temperature_c": exif.air_c,
        "header_said": None if exif.air_c is None else {"by": "Trod", "told": {AIR_TAG: f"{exif.air_c:g} C"}},
        "exposure_s": exif.exposure_s,
        "iso": exif.iso if exif.iso is not None and 0 <= exif.iso < 2**31 else None,
        "infrared": light.infrared if light else None,
        "brightness": light.brightness if light else None,
        "problem": _problem(task.told, facts.problems),
    }
    if exif.orientation >= 5:  # the picture stands on its side; its row tells the size as it is seen
        values["width"], values["height"] = exif.height, exif.width
    if exif.taken_raw is None and not facts.readable:
        return {**values, "time_from": "none"}  # nothing to be seen and no time: it is in no sequence
    return {**values, **_time(exif.taken_raw, exif.subsecond_s, "exif", task)}


def _clip(task: Task, path: Path, thumb_to: Path | None) -> dict[str, Any]:
    facts = clips.look(path, thumb_to=thumb_to, sha256=task.sha256)
    raw = facts.made_utc.replace(tzinfo=None) if facts.made_from == "container" else None
    return {
        "width": facts.width,
        "height": facts.height,
        "duration_s": facts.duration_s,
        "problem": _problem(task.told, facts.problems),
        **_time(raw, None, "clip", task),
    }


def _time(raw: datetime | None, subsecond_s: float | None, source: str, task: Task) -> dict[str, Any]:
    """The time by the camera; else that of the file on the card, which is an instant already.

    The bag's papers have it; the file in the archive may have lost it on its way through other disks.
    """
    if raw is not None:
        ms = 0 if subsecond_s is None else min(999, int(subsecond_s * 1000 + 1e-6))
        return {"taken_raw": raw.replace(tzinfo=UTC), "subsecond_ms": ms, "time_from": source}
    seconds = int(Path(task.path).stat().st_mtime) if task.changed_ns is None else task.changed_ns // 10**9
    changed = datetime.fromtimestamp(seconds, UTC)
    return {"taken_raw": changed, "subsecond_ms": 0, "time_from": "file"}


def _problem(told: str, problems: tuple[str, ...]) -> str:
    if "holds no bytes" in told:
        problems = ()  # the same in other words
    if "breaks off" in told and any("end of the picture is missing" in p for p in problems):
        told = ""
    text = "; ".join(dict.fromkeys(filter(None, (told, *problems))))
    return text if len(text) <= LONGEST_PROBLEM else text[: LONGEST_PROBLEM - 1] + "…"
