"""The form of a walk test: a few walks past a camera that stands, each with what its first picture showed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from trod import units as conversions
from trod.catalogue.models import WalkTest
from trod.telling import measures
from trod.units import system_of
from trod.web import seen
from trod.web.forms.common import LocalMoment, RecordForm
from trod.web.shared.walk_evidence import FASTEST_MPS, GOT_WORDS, SLOWEST_MPS

LINES, MORE = 8, 4
MOST_LINES = 60
NEAREST_M, FARTHEST_M = 0.3, 100.0
ANGLES = (
    ("90", "straight across"),
    ("60", "60°, slanting"),
    ("45", "45°, slanting"),
    ("30", "30°, much along"),
    ("15", "15°, nearly along"),
)
WAYS = (("away", "away"), ("towards", "towards it"))
SPEEDS_MPS = (0.6, 1.2, 2.0, 3.5)
SPEED_NAMES = ("creeping", "easy walk", "brisk", "running")
GOTS = (("", "not walked"), *GOT_WORDS.items())


def speeds(units: str, also: float | None = None) -> list[tuple[str, str]]:
    """Speeds to choose from, with one more that was kept and is none of them."""
    found = list(zip(SPEEDS_MPS, SPEED_NAMES, strict=True))
    if also is not None and also not in SPEEDS_MPS:
        found.append((also, "as kept"))

    return [(f"{value:g}", f"{name}, {measures.speed(value, system_of(units))}") for value, name in found]


class WalkTestForm(RecordForm):
    """When, by whom, and a note; the walks are lines beside it."""

    at = LocalMoment(label="When")

    class Meta:
        model = WalkTest
        fields = ("at", "by", "note")
        labels = {"by": "Walked by"}

    def __init__(self, *args: Any, found: Any = (), **more: Any) -> None:
        self.found = list(found)
        super().__init__(*args, **more)
        if not self.instance.pk:
            self.initial.update(at=timezone.now(), by=self.person)

    def unseen(self) -> dict[str, str]:
        return {"walks": seen.mark(self.instance.walks)}

    def unseen_is_changed(self, name: str) -> bool:
        return bool(self.found != self.instance.walks)

    def leave_unseen(self, name: str) -> None:
        self.found = self.instance.walks


def lines_of(test: WalkTest | None, units: str) -> list[dict[str, Any]]:
    """The lines of a kept test and some empty ones, as text in the person's units."""
    found = []
    for one in test.walks if test is not None and isinstance(test.walks, list) else ():
        if isinstance(one, dict):
            found.append(_line_of(one, units))
    empty = max(LINES - len(found), MORE if found else 0)
    found += [{"offset": "", "angle": "90", "away": "away", "speed": "1.2", "got": ""} for _ in range(empty)]
    return [line | {"n": n, "error": ""} for n, line in enumerate(found, 1)]


def _line_of(one: Mapping[str, Any], units: str) -> dict[str, Any]:
    def number(name: str, scale: float = 1.0) -> str:
        value = one.get(name)
        return f"{round(value / scale, 2):g}" if isinstance(value, int | float) else ""

    return {
        "offset": number("offset_m", conversions.scale("m", units).size),
        "angle": number("angle_deg"),
        "away": "away" if one.get("away") is not False else "towards",
        "speed": number("speed_m_s"),
        "got": one.get("got") if one.get("got") in GOT_WORDS else "",
    }


def read(told: Mapping[str, str], units: str) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """(lines as typed, with their errors; walks as they are kept). Lines that were not walked do not count."""
    count = 0
    while count < MOST_LINES and f"got_{count + 1}" in told:
        count += 1
    lines, walks = [], []
    for n in range(1, count + 1):
        line = {
            "n": n,
            "offset": told.get(f"offset_{n}", "").strip()[:20],
            "angle": told.get(f"angle_{n}", "90")[:10],
            "away": told.get(f"away_{n}", "away")[:10],
            "speed": told.get(f"speed_{n}", "1.2")[:10],
            "got": told.get(f"got_{n}", "")[:10],
            "error": "",
        }
        lines.append(line)
        if line["got"] or line["offset"]:
            line["error"], walk = _walk(line, units)
            if walk is not None:
                walks.append(walk)
    return lines, walks


def _walk(line: Mapping[str, Any], units: str) -> tuple[str, dict[str, Any] | None]:
    if line["got"] not in GOT_WORDS:
        return "say what its first picture shows, or clear the line", None
    shown = conversions.scale("m", units)
    scale, sign = shown.size, shown.sign
    try:
        offset = measures.read(line["offset"], system=system_of(units))
        angle, speed = float(line["angle"]), float(line["speed"])
    except ValueError:
        return f"got “{line['offset']}”; needed: how far off the line lay, in {sign}", None
    if not (math.isfinite(offset) and NEAREST_M <= offset <= FARTHEST_M):
        return f"got {line['offset']}; needed: from {NEAREST_M / scale:.2g} to {FARTHEST_M / scale:.3g} {sign}", None
    if not (0 <= angle <= 180 and SLOWEST_MPS <= speed <= FASTEST_MPS):
        return "choose angle and speed from the lists", None
    walk: dict[str, Any] = {
        "offset_m": round(offset, 3),
        "angle_deg": angle,
        "speed_m_s": speed,
        "got": line["got"],
    }
    if line["away"] == "towards":
        walk["away"] = False
    return "", walk
