"""A placement planner's answers, kept for a while by what was asked.

What the boxes say is handed to the planning room.

Nothing here reads or writes the catalogue, so an answer can be given while a slider moves.
"""

from __future__ import annotations

import json
import threading
import time
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from trod.drawing import placement as drawing
from trod.errors import NotEnoughEvidence, Stopped, WrongInput
from trod.planning.catch import herdview
from trod.planning.catch.animals import Animal, animal
from trod.planning.catch.walkby import AngleAdvice
from trod.planning.equipment.camera import CameraSpec
from trod.planning.ground.site import Horizon
from trod.planning.place import glare, setup
from trod.planning.place import inputs as entered
from trod.planning.place.advice import headings_for
from trod.planning.place.setup import Outcome
from trod.telling import glare as told_sun
from trod.telling import herds, setups
from trod.telling.setups import ToldSetup
from trod.units import System, system_of

REFINE_S = 0.5  # of refining for each light, at most
REFINE_PASSES = 1_000_000
PACE_PASSES = 4_096


@dataclass(frozen=True)
class Place:
    """Where the placement planner stands.

    utc_offset_min : of the clock that cameras here are set to, without summer time.
    """

    latitude_deg: float
    longitude_deg: float
    sensitive: bool = False
    utc_offset_min: int | None = None


@dataclass(frozen=True)
class Asked:
    """One question to the placement planner, fit to be looked up: inputs as JSON with sorted names."""

    spec: CameraSpec
    animal: str
    inputs: str
    place: Place
    system: System
    year: int


def asked(
    spec: CameraSpec, animal_key: str, inputs: Mapping[str, Any], place: Place, *, system: str, year: int
) -> Asked:
    """A question. An angle to the path among the inputs becomes the heading that makes it."""
    return Asked(
        spec=spec,
        animal=animal_key,
        inputs=json.dumps(turned(spec, inputs, place, year=year), sort_keys=True),
        place=place,
        system=system_of(system),
        year=year,
    )


def turned(spec: CameraSpec, inputs: Mapping[str, Any], place: Place, *, year: int) -> dict[str, Any]:
    """Input without `angle_deg`: it stands as the heading that makes this angle, of several the one with least sun."""
    plain = {key: value for key, value in inputs.items() if key != "angle_deg"}
    bearing = plain.get("path_bearing_deg")
    if "angle_deg" not in inputs or bearing is None or "heading_deg" in plain:
        return plain
    options = headings_for(path_bearing_deg=bearing, angle_deg=inputs["angle_deg"], side=plain.get("side"))
    suns = glare.hours_by_heading(
        list(options),
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        fov_deg=spec.value("fov_deg"),
        horizon=Horizon.typed(plain.get("horizon", "")),
        year=year,
    )
    plain["heading_deg"] = round(options[int(suns.argmin())], 4)
    return plain


@lru_cache(maxsize=256)
def work(question: Asked) -> ToldSetup:
    """The setup that is asked for. Raises WrongInput, which names the input."""
    return setups.work_out(question.spec, _read(question), system=question.system, year=question.year)


def _read(question: Asked) -> entered.Read:
    return entered.read(
        json.loads(question.inputs),
        latitude_deg=question.place.latitude_deg,
        longitude_deg=question.place.longitude_deg,
        animal=animal(question.animal),
        sensitive=question.place.sensitive,
    )


def plan(done: ToldSetup, *, key: str = "plan") -> str:
    """The view from above."""
    read, patch = done.read, setup.patch_told(done.advice, done.read)
    return drawing.plan_svg(done.advice, read.ground, done.animal, patch=patch, system=done.system, key=key)


def side(done: ToldSetup, *, key: str = "side") -> str:
    """The view from the side."""
    return drawing.side_svg(
        done.advice,
        done.read.ground,
        done.animal,
        case_height_mm=done.read.mount.case_height_mm,
        system=done.system,
        key=key,
    )


# --- what may take longer: asked for apart, given up when something newer is asked -----------------


class Turns:
    """Which question of each placement planner is the newest, so that work for an older one can be given up."""

    def __init__(self, most: int = 200) -> None:
        self._most = most
        self._newest: OrderedDict[str, int] = OrderedDict()
        self._lock = threading.Lock()

    def take(self, planner: str, turn: int) -> None:
        """A question has come in from a placement planner."""
        with self._lock:
            self._newest[planner] = max(turn, self._newest.get(planner, 0))
            self._newest.move_to_end(planner)
            while len(self._newest) > self._most:
                self._newest.popitem(last=False)

    def is_old(self, planner: str, turn: int) -> bool:
        """Whether a newer question has come in."""
        with self._lock:
            return self._newest.get(planner, 0) > turn


TURNS = Turns()
_CLOSER: OrderedDict[Asked, tuple[Outcome, ...]] = OrderedDict()
_CLOSER_MOST = 64
_closer_lock = threading.Lock()


def closer(question: Asked, *, stop: Any = lambda: False) -> tuple[Outcome, ...]:
    """By day and by night, refined for about half a second each. Raises Stopped when `stop` says so."""
    with _closer_lock:
        if question in _CLOSER:
            _CLOSER.move_to_end(question)
            return _CLOSER[question]
    done = work(question)
    found = []
    for first in (done.day, done.night):
        until = time.monotonic() + REFINE_S
        best = first
        for outcome in setup.refined(first, passes=REFINE_PASSES, stop=stop):
            best = outcome
            if time.monotonic() > until:
                break
        found.append(best)
    with _closer_lock:
        _CLOSER[question] = tuple(found)
        while len(_CLOSER) > _CLOSER_MOST:
            _CLOSER.popitem(last=False)
    return tuple(found)


@lru_cache(maxsize=64)
def angles(question: Asked) -> AngleAdvice | None:
    """What the simulation says of the angle to the path; None where animals stay."""
    done = work(question)
    return setup.angles_for(done.spec, done.read, done.settings)


@lru_cache(maxsize=32)
def sun(question: Asked) -> tuple[str, str] | None:
    """The sun's year before the camera: a sentence and a drawing. None where no heading is known."""
    done = work(question)
    if done.advice.heading_deg is None:
        return None
    frame = glare.Frame(
        heading_deg=done.advice.heading_deg,
        tilt_deg=done.advice.tilt_deg,
        fov_deg=done.advice.fov_deg,
        vertical_deg=done.advice.vertical_deg,
    )
    year = glare.glare_year(
        frame,
        latitude_deg=question.place.latitude_deg,
        longitude_deg=question.place.longitude_deg,
        horizon=done.read.ground.horizon,
        utc_offset_min=question.place.utc_offset_min,
        year=question.year,
    )
    return told_sun.year(year), drawing.glare_svg(year)


@dataclass(frozen=True)
class Pace:
    """What the camera, hung so, makes of one kind of animal at its own pace, by day."""

    animal: Animal
    outcome: Outcome


def paces(question: Asked, keys: Sequence[str], *, stop: Any = lambda: False) -> list[Pace]:
    """The same camera for several kinds of animals, best caught first. Raises Stopped."""
    found = []
    for key in keys:
        if stop():
            raise Stopped("a newer question has come in")
        found.append(Pace(animal(key), _pace(question, key)))
    return sorted(found, key=lambda pace: (-pace.outcome.caught.value, pace.animal.name))


@lru_cache(maxsize=512)
def _pace(question: Asked, key: str) -> Outcome:
    return setup.outcome_for(work(question), animal(key), passes=PACE_PASSES)


# --- herds ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Herd:
    """The share of a herd that is seen, by lens height. rows : (height in m, share). here : of this placement."""

    sentence: str
    rows: tuple[tuple[float, float], ...]
    pays_m: float | None
    here: tuple[float, float] | None


def herd(done: ToldSetup) -> Herd | None:
    """The curve of a herd at a place where animals stay; None where it does not apply or the table does not reach."""
    mount, animal_ = done.read.mount, done.animal
    if done.passing or mount.herd < 2 or not animal_.herds:
        return None
    stay = setup.patch_of(done.advice, done.read)
    place = {
        "width_m": stay.width_m,
        "depth_m": stay.depth_m,
        "fov_deg": done.advice.fov_deg,
        "shoulder_m": animal_.shoulder_mid_m,
    }
    try:
        found = herdview.height_that_pays(herd=mount.herd, **place)
    except (WrongInput, NotEnoughEvidence):
        return None
    at = min(found.table, key=lambda row: abs(row[0] - done.advice.height_m))
    inside = found.table[0][0] - 0.1 <= done.advice.height_m <= found.table[-1][0] + 0.1
    here = (done.advice.height_m, done.advice.herd_share if done.advice.herd_share is not None else at[1])
    return Herd(
        sentence=herds.pays(found, done.system),
        rows=found.table,
        pays_m=found.height_m if found.reached else None,
        here=here if inside else None,
    )
