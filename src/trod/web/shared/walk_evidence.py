"""What the field says of a kind of camera: walk tests and counted first pictures, beside its maker's claims."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, cast

from trod import wording
from trod.catalogue.models import CameraModel, Site, WalkTest
from trod.catalogue.rows import usual
from trod.planning.catch import calibrate
from trod.planning.catch.animals import Animal
from trod.planning.catch.calibrate import AXES, Axis, Calibration, FirstPictures, Known, Walk
from trod.planning.catch.crossing import Path, View
from trod.planning.catch.detection import Sensor
from trod.planning.equipment.camera import CameraSpec
from trod.telling import calibrations
from trod.units import System

GOT = {"nothing": "none", "empty": "empty", "part": "cut", "whole": "whole"}
GOT_WORDS = {
    "nothing": "no picture",
    "empty": "a picture without me",
    "part": "me in part",
    "whole": "me whole",
}
SLOWEST_MPS, FASTEST_MPS = 0.1, 12.0
MOST_WALKS = 400


@dataclass(frozen=True)
class Line:
    """One figure: what its maker says, what the field says, and whether they agree (None: not told)."""

    label: str
    claim: str
    field: str
    agree: bool | None


@dataclass(frozen=True)
class Says:
    """What the field says of a kind of camera. advice : what to walk next. keep : figures fit to be kept."""

    lines: tuple[Line, ...]
    advice: tuple[str, ...]
    rests_on: str
    keep: tuple[tuple[Axis, float], ...]


@dataclass(frozen=True)
class Blanks:
    """How many of a site's sorted sequences showed nothing, beside what the model expects."""

    blank: int
    sorted: int

    @property
    def per_hundred(self) -> float:
        """Blanks in a hundred sorted sequences."""
        return 100 * self.blank / self.sorted

    @property
    def interval(self) -> tuple[float, float]:
        """Wilson's interval at 95 %, in a hundred; sequences taken as independent, which they are not quite.

        References : E. B. Wilson (1927) J. Am. Stat. Assoc. 22:209–212.
        """
        z2 = 1.959964**2
        n, p = self.sorted, self.blank / self.sorted
        middle = (p + z2 / (2 * n)) / (1 + z2 / n)
        half = math.sqrt(z2 * (p * (1 - p) / n + z2 / (4 * n * n))) / (1 + z2 / n)
        return 100 * max(middle - half, 0.0), 100 * min(middle + half, 1.0)


def walks_of(tests: Iterable[WalkTest]) -> list[Walk]:
    """The walks of walk tests as the model takes them; what cannot be one is left out."""
    found: list[Walk] = []
    for test in tests:
        for one in test.walks if isinstance(test.walks, list) else ():
            if (walk := _walk(one)) is not None:
                found.append(walk)
    return found[:MOST_WALKS]


def _walk(one: Any) -> Walk | None:
    if not isinstance(one, dict) or one.get("got") not in GOT:
        return None
    try:
        return Walk(
            path=Path(offset_m=float(one["offset_m"]), angle_deg=float(one["angle_deg"])),
            speed_mps=float(one["speed_m_s"]),
            shown=cast(Any, GOT[one["got"]]),
            forward=one.get("away") is not False,
        )
    except (KeyError, TypeError, ValueError):  # WrongInput is a ValueError
        return None


def tests_of(model: CameraModel) -> list[WalkTest]:
    """All walk tests past cameras of a kind."""
    return list(
        WalkTest.objects.filter(deployment__camera__model=model)
        .select_related("deployment__camera", "deployment__site")
        .order_by("at")
    )


def known_of(spec: CameraSpec) -> Known:
    """What is taken as known of a camera while its trigger time, zone and range are sought."""
    return Known(
        view=View(fov_deg=spec.value("fov_deg"), columns=round(spec.value("columns"))),
        sensor=Sensor(zone_deg=spec.value("zone_deg"), range_m=spec.value("range_m")),
    )


def says(spec: CameraSpec, tests: list[WalkTest], *, system: System) -> Says | None:
    """What walk tests say of a camera; None without a single walk that can be read."""
    walks = tuple(walks_of(tests))
    if not walks:
        return None
    cameras = sorted({str(test.deployment.camera) for test in tests})
    who = f"past {cameras[0]}" if len(cameras) == 1 else f"past {wording.plural(len(cameras), 'camera')} of this kind"
    return told(spec, _by_walks(walks, known_of(spec)), who, system=system)


@lru_cache(maxsize=32)
def _by_walks(walks: tuple[Walk, ...], known: Known) -> Calibration:
    return calibrate.walk_test(walks, known=known)


@lru_cache(maxsize=32)
def by_pictures(found: FirstPictures, animal: Animal, path: Path, spec: CameraSpec) -> Calibration:
    """What counted first pictures say. Raises NotEnoughEvidence under 30 of them."""
    return calibrate.from_pictures(found, passer=animal.passer, path=path, known=known_of(spec))


def told(spec: CameraSpec, found: Calibration, who: str = "", *, system: System) -> Says:
    """A calibration in words, figure by figure."""
    lines, keep = [], []
    for axis in AXES:
        claim = getattr(spec.claimed, axis)
        word = calibrations.name(axis).capitalize()
        said = calibrations.figure(claim, axis, system) if claim is not None else "not stated"
        if not found.told(axis):
            lines.append(Line(word, said, "does not tell", None))
            continue
        agree = None if claim is None else found.agrees(axis, claim)
        lines.append(Line(word, said, calibrations.band(found, axis, system), agree))
        keep.append((axis, round(found.band(axis).middle, 3)))
    pieces = wording.listed(found.pieces)
    return Says(tuple(lines), calibrations.advice(found), f"{pieces} {who}".strip(), tuple(keep))


def blanks_of(site: Site) -> Blanks | None:
    """Blanks among a site's sorted sequences; None where nothing is sorted yet."""
    every = usual.days(site)
    total = sum(one.identified for one in every)
    return Blanks(sum(one.blanks for one in every), total) if total else None
