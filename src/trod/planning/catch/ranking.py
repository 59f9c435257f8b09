"""Which camera for which use: cameras ranked by what they would catch, not by what stands on their box.

Each use is a scene of ours (assumed) that every camera is put through by day and by night with `walkby` or
`dwelling`: animals that cross near and far, slanting and straight, because a camera is seldom hung just so
and animals keep to no line. A catch is an animal whole in a picture, lit, and with enough pixels to be worth
it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from trod.errors import Stopped, WrongInput
from trod.planning.catch.crossing import Path, View
from trod.planning.catch.detection import Sensor, contrast_k
from trod.planning.catch.dwelling import Stay, StayCase, visits
from trod.planning.catch.passers import DEER, FOX, HARE, PERSON, Gait, Passer
from trod.planning.catch.walkby import Case, Timing, first_answer
from trod.planning.equipment.camera import CameraSpec, Origin
from trod.planning.equipment.optics import (
    EN_62676_4,
    EN_62676_4_CAUTION,
    EN_62676_4_EDITION,
    distance_for_m,
)

PASSES = 4_096
MOST_FRAMES = 3
DAYLIGHT_REACH_M = 60.0


@dataclass(frozen=True, kw_only=True)
class Use:
    """What a camera is wanted for.

    passers : what comes by, each equally often. paths : (offset, angle) of the lines they come on, [m] and
    [°], each equally often. stay : instead of passing, animals stay. night_share : of the visits. per_m :
    pixels for each metre of animal that a picture must have to count. hidden : whether the flash had better
    not be seen. note : what is to be known of the yardstick.
    """

    name: str
    passers: tuple[Passer, ...]
    paths: tuple[tuple[float, float], ...] = ((3.0, 45.0), (3.0, 90.0), (6.0, 45.0), (6.0, 90.0))
    stay: Stay | None = None
    night_share: float = 0.5
    per_m: float = 100.0
    hidden: bool = False
    note: str = ""


_FAST = (Gait(share=0.7, median_mps=3.5, sigma_ln=0.25), Gait(share=0.3, median_mps=7.0, sigma_ln=0.2))
RECOGNISE = next(step for step in EN_62676_4 if step.word == "recognise")
# Scenes of ours; the pixel counts are assumed, save security's: "recognise" of EN 62676-4 (2014/2015).
USES: dict[str, Use] = {
    use.name: use
    for use in (
        Use(name="fast animals on a trail", passers=(replace(DEER, name="fast deer", gaits=_FAST),)),
        Use(
            name="herd at a feeding ground",
            passers=(DEER,),
            stay=Stay(near_m=7.0, depth_m=9.0, width_m=16.0),
            night_share=0.6,
            per_m=150.0,
        ),
        Use(
            name="small animals",
            passers=(FOX, HARE),
            paths=((2.0, 45.0), (2.0, 90.0), (4.0, 45.0), (4.0, 90.0)),
            night_share=0.7,
            per_m=200.0,
        ),
        Use(
            name="security",
            passers=(PERSON,),
            paths=((3.0, 60.0), (6.0, 60.0), (10.0, 60.0), (10.0, 90.0)),
            per_m=RECOGNISE.per_m,
            hidden=True,
            note=f"A picture counts from {RECOGNISE.per_m:g} pixels a metre on, the step “{RECOGNISE.word}” of "
            f"{EN_62676_4_EDITION}. {EN_62676_4_CAUTION}",
        ),
    )
}


Improved = Literal["trigger_s", "burst_max", "range_m", "flash_reach_m", "fov_deg", "columns"]


@dataclass(frozen=True, kw_only=True)
class HeldBack:
    """A figure that costs a camera much. better : what a very good camera has. caught : what it would catch so."""

    figure: Improved
    own: float
    better: float
    origin: Origin
    caught: float


@dataclass(frozen=True, kw_only=True)
class Ranked:
    """A camera in its place for a use.

    caught : share of the visits that end in a picture worth having; day and night apart. standard_error : of
    `caught`, the simulation's own, at most; the model's doubt (`TIED`) is larger. empty : share of its
    pictures with nothing (None where animals stay). tied : so near to the one before it that the model cannot
    tell them apart; such stand in the order of their empty pictures. stays : animals stay rather than pass.
    held_back : the figures that cost most, two at most. seen_flash : its flash can be seen, where it had better
    not.
    """

    spec: CameraSpec
    place: int
    caught: float
    day: float
    night: float
    empty: float | None
    tied: bool
    stays: bool = False
    held_back: tuple[HeldBack, ...] = ()
    seen_flash: bool = False
    standard_error: float = 0.0


TIED = 0.03  # the model's own doubt about a share is at least this


def rank_for(
    use: str | Use,
    specs: Sequence[CameraSpec],
    *,
    air_c: float = 5.0,
    passes: int = PASSES,
    seed: int = 1,
    progress: Callable[[int, int], None] = lambda done, total: None,
    stop: Callable[[], bool] = lambda: False,
) -> list[Ranked]:
    """Cameras for a use, the best first, each with what holds it back.

    use : a key of `USES` or a use of your own. air_c : at which the sensors must work. progress : told how
    many steps of how many are done, two for each camera.
    Raises WrongInput for a use that is not known, Stopped when `stop` says so.
    """
    if isinstance(use, str):
        if use not in USES:
            raise WrongInput("use", got=use, needed="one of " + ", ".join(USES))
        use = USES[use]
    warm = contrast_k(air_c)
    steps = 2 * len(specs)

    def step(done: int) -> None:
        progress(done, steps)
        if stop():
            raise Stopped(f"stopped after {done} of {steps} steps")

    scores = []
    for done, spec in enumerate(specs):
        step(done)
        scores.append((_score(use, _Kit.of(spec), warm, passes, seed), spec))
    scored = sorted(
        scores,
        key=lambda pair: (-round(pair[0].caught / TIED), pair[0].empty or 0.0, pair[1].name),
    )
    ranked: list[Ranked] = []
    for place, (score, spec) in enumerate(scored, 1):
        step(len(specs) + place - 1)
        tied = bool(ranked) and abs(ranked[-1].caught - score.caught) < TIED
        ranked.append(
            Ranked(
                spec=spec,
                place=place,
                caught=score.caught,
                day=score.day,
                night=score.night,
                empty=score.empty,
                tied=tied,
                stays=use.stay is not None,
                held_back=_held_back(use, spec, score, warm, passes, seed),
                seen_flash=use.hidden and spec.flash in ("white", "low glow"),
                standard_error=score.standard_error,
            )
        )
    progress(steps, steps)
    return ranked


@dataclass(frozen=True)
class _Score:
    caught: float
    day: float
    night: float
    empty: float | None
    standard_error: float


@dataclass(frozen=True)
class _Kit:
    """A camera's figures as the simulation wants them; changed to see what each is worth."""

    zone_deg: float
    range_m: float
    fov_deg: float
    trigger_s: float
    rearm_s: float
    gap_s: float
    frames: int
    flash_m: float
    columns: int

    @staticmethod
    def of(spec: CameraSpec) -> _Kit:
        """The best known of each figure. A camera without flash lights nothing."""
        return _Kit(
            zone_deg=spec.value("zone_deg"),
            range_m=spec.value("range_m"),
            fov_deg=spec.value("fov_deg"),
            trigger_s=spec.value("trigger_s"),
            rearm_s=spec.value("rearm_s"),
            gap_s=spec.value("burst_gap_s"),
            frames=min(int(spec.value("burst_max")), MOST_FRAMES),
            flash_m=0.0 if spec.flash == "none" else spec.value("flash_reach_m"),
            columns=int(spec.value("columns")),
        )

    def view(self, per_m: float, night: bool) -> View:
        """The view as far as its pictures are of use."""
        sharp = distance_for_m(columns=self.columns, fov_deg=self.fov_deg, wanted_per_m=per_m)
        reach = min(sharp, self.flash_m if night else DAYLIGHT_REACH_M)
        return View(fov_deg=self.fov_deg, reach_m=max(reach, 0.01), columns=self.columns)

    @property
    def sensor(self) -> Sensor:
        """Its sensor."""
        return Sensor(zone_deg=self.zone_deg, range_m=self.range_m)

    @property
    def timing(self) -> Timing:
        """Its times."""
        return Timing(trigger_s=self.trigger_s, frames=self.frames, gap_s=self.gap_s, rearm_s=self.rearm_s)


def _score(use: Use, kit: _Kit, warm: float, passes: int, seed: int) -> _Score:
    """What a camera catches in the scene of a use."""
    by_light: list[float] = []
    errors: list[float] = []
    empties: list[float] = []
    for night in (False, True):
        view = kit.view(use.per_m, night)
        shares: list[float] = []
        doubts: list[float] = []
        for passer in use.passers:
            if use.stay is not None:
                case = StayCase(
                    passer=passer,
                    stay=use.stay,
                    sensor=kit.sensor,
                    view=view,
                    timing=kit.timing,
                    contrast_k=warm,
                )
                found = visits(case, number=max(256, passes // 8), seed=seed)
                # A herd is worth as much of it as one picture shows.
                part = patch_share(use.stay, view)
                shares.append(found.seen.value * part)
                doubts.append(found.seen.standard_error * part)
                continue
            for offset, angle in use.paths:
                answer = first_answer(
                    Case(
                        passer=passer,
                        path=Path(offset_m=offset, angle_deg=angle),
                        sensor=kit.sensor,
                        view=view,
                        timing=kit.timing,
                        contrast_k=warm,
                    ),
                    passes=passes,
                    seed=seed,
                )
                shares.append(answer.whole.value)
                doubts.append(answer.whole.standard_error)
                if not night and answer.empty is not None:
                    empties.append(answer.empty.value)
        by_light.append(sum(shares) / len(shares))
        # The same seed for all: errors may go together, so they are not taken to cancel.
        errors.append(sum(doubts) / len(doubts))
    day, dark = by_light
    return _Score(
        caught=(1 - use.night_share) * day + use.night_share * dark,
        day=day,
        night=dark,
        empty=sum(empties) / len(empties) if empties else None,
        standard_error=(1 - use.night_share) * errors[0] + use.night_share * errors[1],
    )


def patch_share(stay: Stay, view: View, *, steps: int = 60) -> float:
    """How much of a patch before the camera lies in the view."""
    x = stay.near_m + (np.arange(steps) + 0.5) / steps * stay.depth_m
    y = ((np.arange(steps) + 0.5) / steps - 0.5) * stay.width_m
    inside = (np.abs(np.arctan2(y[:, None], x)) <= math.radians(view.fov_deg) / 2) & (
        np.hypot(y[:, None], x) <= view.reach_m
    )
    return float(inside.mean())


# What a figure could be in a very good camera: what it is worth to a use is seen by putting it in. Assumed.
_BETTER: tuple[tuple[str, Improved, float], ...] = (
    ("trigger_s", "trigger_s", 0.2),
    ("frames", "burst_max", 3),
    ("range_m", "range_m", 30.0),
    ("flash_m", "flash_reach_m", 30.0),
    ("fov_deg", "fov_deg", 60.0),
    ("columns", "columns", 4000),
)
WORTH_TELLING = 0.05


def _held_back(use: Use, spec: CameraSpec, score: _Score, warm: float, passes: int, seed: int) -> tuple[HeldBack, ...]:
    kit = _Kit.of(spec)
    gains: list[HeldBack] = []
    # A camera that catches nearly all cannot gain enough to be told of.
    for attribute, figure, better in _BETTER if score.caught <= 1 - WORTH_TELLING else ():
        own = getattr(kit, attribute)
        lower_is_better = attribute == "trigger_s"
        if (own <= better) if lower_is_better else (own >= better):
            continue
        if attribute == "flash_m" and spec.flash == "none":
            continue
        whole = attribute in ("frames", "columns")
        improved = replace(kit, **{attribute: int(better) if whole else better})  # type: ignore[arg-type]
        if attribute == "frames" and kit.frames == 1:
            improved = replace(improved, gap_s=min(kit.gap_s or 1.0, 1.0))
        with_it = _score(use, improved, warm, max(1, passes // 2), seed).caught
        if with_it - score.caught >= WORTH_TELLING:
            origin = spec.figure(figure).origin
            gains.append(HeldBack(figure=figure, own=own, better=better, origin=origin, caught=with_it))
    return tuple(sorted(gains, key=lambda one: -one.caught)[:2])
