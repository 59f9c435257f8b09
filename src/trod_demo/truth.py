"""The truth of each demo picture, one JSON object a line, kept outside the card: nobody can peep."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from trod.errors import WrongInput
from trod.plain import plain, record


@dataclass(frozen=True)
class TrueAnimal:
    """One body in a picture.

    box : left, top, right, bottom in shares of the picture (0..1, y down) of all its pixels that lie inside
    the frame and above the info strip, hidden ones too. visible : share of its silhouette that can be seen.
    """

    what: str
    species: str
    sex: str
    life_stage: str
    box: tuple[float, float, float, float]
    visible: float
    distance_m: float
    pose: str


@dataclass(frozen=True)
class Truth:
    """What one file of a demo card really shows.

    path : relative to the card's folder, with forward slashes. kind : animal, blank, human, vehicle (what
    can be seen), or damaged (a file without a whole picture). count : bodies that can be seen. taken_true :
    UTC, ISO 8601 with Z. taken_written : as the camera wrote it, naive. detection : pictures of one detection
    share it. damage : "", zero bytes, truncated or foreign.
    """

    path: str
    sha256: str
    bytes: int
    card: str
    camera: str
    deployment: str
    site: str
    taken_true: str
    taken_written: str
    infrared: bool
    kind: str
    species: str
    count: int
    animals: tuple[TrueAnimal, ...]
    blank_cause: str
    detection: int
    weather: dict[str, float] = field(default_factory=dict)
    troubles: tuple[str, ...] = ()
    damage: str = ""


def write_truth(path: Path, rows: Iterable[Truth]) -> None:
    """Write a truth file anew."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="\n") as out:
        for row in rows:
            out.write(json.dumps(plain(row), separators=(",", ":")) + "\n")


def read_truth(path: Path) -> list[Truth]:
    """Read a truth file back. Raises WrongInput naming the line that does not fit."""
    needed = "a line written by trod_demo.cards"
    rows: list[Truth] = []
    with Path(path).open(encoding="utf-8") as lines:
        for number, line in enumerate(lines, 1):
            what = f"truth file {path}, line {number}"
            if line.strip():
                try:
                    rows.append(record(Truth, json.loads(line), what=what, needed=needed))
                except json.JSONDecodeError as error:
                    raise WrongInput(what, got=line[:60], needed=needed) from error
    return rows
