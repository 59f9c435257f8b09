"""What a person does before the camera: the walks of a walk test, and what is minded at such a place.

The order of the steps is common practice. The walks are chosen so that they tell something: two speeds along
the path and one walk straight across part a slow trigger from a wide zone (`calibrate`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from trod.planning.catch import crossing
from trod.planning.catch.crossing import Path
from trod.planning.place import mounting
from trod.planning.place.advice import PlacementAdvice, patch_span_m
from trod.planning.place.facts import Minded
from trod.planning.place.inputs import Read

EASY_MPS, BRISK_MPS = 1.2, 2.0  # of the walks; paced, so about
LOW_BODY_M = 0.5  # an animal whose middle is lower than this is also tried on hands and knees. Assumed.
RUN_UP_M = 2.0
LONGEST_WALK_M = 12.0


StepKey = Literal[
    "clock", "board", "mark", "along easy", "along brisk", "near edge", "far edge", "edge", "low", "review", "leave"
]


@dataclass(frozen=True, kw_only=True)
class WalkStep:
    """One step of a walk test.

    offset_m, angle_deg : the line that is walked, for noting the walk; None where nothing is walked past the camera.
    speed_mps : about how fast. wait_s : until the camera listens again. run_up_m : before and past the mark. beside_m :
    where the zone begins, off the axis. delayed : a delay is set, to be taken off for the test.
    """

    key: StepKey
    offset_m: float | None = None
    angle_deg: float | None = None
    speed_mps: float | None = None
    wait_s: float = 0.0
    run_up_m: float = 0.0
    beside_m: float = 0.0
    delayed: bool = False


def walk_steps(
    read: Read, advice: PlacementAdvice, path: Path | None, *, rearm_s: float, delayed: bool = False
) -> tuple[WalkStep, ...]:
    """The walk test for a placement, in order.

    path : the line on which animals pass; None where they stay. rearm_s : until the camera listens
    again. delayed : whether a delay is set that must be taken off for the test.
    """
    aim = advice.aim_distance_m
    steps = [WalkStep(key="clock", delayed=delayed), WalkStep(key="board"), WalkStep(key="mark")]
    if path is not None:
        run_up = _run_up_m(path, advice.zone_deg)
        angle = min(path.angle_deg, 180 - path.angle_deg)
        paces: tuple[tuple[StepKey, float], ...] = (("along easy", EASY_MPS), ("along brisk", BRISK_MPS))
        steps += [
            WalkStep(key=key, offset_m=path.offset_m, angle_deg=angle, speed_mps=pace, wait_s=rearm_s, run_up_m=run_up)
            for key, pace in paces
        ]
    else:
        near, far = patch_span_m(read.mount, aim)
        edges: tuple[tuple[StepKey, float], ...] = (("near edge", near), ("far edge", far))
        steps += [
            WalkStep(key=key, offset_m=away, angle_deg=90.0, speed_mps=EASY_MPS, wait_s=rearm_s) for key, away in edges
        ]
    half = aim * math.tan(math.radians(min(advice.zone_deg, 160.0) / 2))
    steps.append(WalkStep(key="edge", offset_m=aim, angle_deg=90.0, wait_s=rearm_s, beside_m=half))
    if read.animal.trunk_centre_m < LOW_BODY_M:
        steps.append(WalkStep(key="low"))
    steps += [WalkStep(key="review"), WalkStep(key="leave", delayed=delayed)]
    return tuple(steps)


def _run_up_m(path: Path, zone_deg: float) -> float:
    """How far before and past the axis the walk must begin to come from outside the zone. [m]"""
    on_axis = crossing.along_m(path, 0.0)
    reaches = [abs(crossing.along_m(path, side * zone_deg / 2) - on_axis) for side in (-1, 1)]
    if any(math.isnan(reach) for reach in reaches):  # the path does not leave the zone on that side
        return LONGEST_WALK_M
    return min(max(reaches) + RUN_UP_M, LONGEST_WALK_M)


def usually_minded(read: Read, advice: PlacementAdvice) -> tuple[Minded, ...]:
    """What is to be minded at such a place whatever the numbers say. Local law and trained people go first."""
    ground, mount = read.ground, read.mount
    wet = ground.feature in ("water", "ford")
    high = advice.height_m > mounting.LADDER_FROM_M or mount.holder == "ladder"
    minded: list[Minded] = ["tell somebody", "ladder footing" if high else "look up"]
    if ground.feature == "road":
        minded.append("road")
    if wet:
        minded.append("water")
    if advice.snow_expected_m > 0 or (mount.air_c[0] < 0 and wet):
        minded.append("ice")
    if ground.feature == "den":
        minded.append("den permit")
    return (*minded, "animals", "hunting", "batteries", "privacy")
