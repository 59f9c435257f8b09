"""What a person does before the camera: the walks of a walk test, and the usual cautions, in plain words.

The order of the steps is common practice. The walks are chosen so that they tell something: two speeds along
the path and one walk straight across part a slow trigger from a wide zone (`calibrate`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from trod.planning.catch import crossing
from trod.planning.catch.crossing import Path
from trod.planning.place import mounting
from trod.planning.place.advice import PlacementAdvice, patch_span_m
from trod.planning.place.inputs import Read
from trod.planning.said import length, wind
from trod.units import System

EASY_MPS, BRISK_MPS = 1.2, 2.0  # of the walks; paced, so about
LOW_BODY_M = 0.5  # an animal whose middle is lower than this is also tried on hands and knees. Assumed.
RUN_UP_M = 2.0
LONGEST_WALK_M = 12.0


@dataclass(frozen=True, kw_only=True)
class WalkStep:
    """One step of a walk test. text : what to do. offset_m, angle_deg : the line that is walked, for noting
    the walk; None where nothing is walked past the camera. speed_mps : about how fast.
    """

    key: str
    text: str
    offset_m: float | None = None
    angle_deg: float | None = None
    speed_mps: float | None = None


def walk_steps(
    read: Read,
    advice: PlacementAdvice,
    path: Path | None,
    *,
    rearm_s: float,
    delayed: bool = False,
    system: System = "metric",
) -> tuple[WalkStep, ...]:
    """The walk test for a placement, in order.

    path : the line on which animals pass; None where they stay. rearm_s : until the camera listens
    again. delayed : whether a delay is set that must be taken off for the test.
    """

    def say(metres: float) -> str:
        return length(metres, system)

    aim, middle = advice.aim_distance_m, advice.aim_height_m
    where = f"{say(aim)} off" + (f" to the {wind(advice.heading_deg)}" if advice.heading_deg is not None else "")
    pause = f"wait {_seconds(rearm_s)}"
    steps = [
        WalkStep(
            key="clock",
            text="Batteries and card in. Set the camera's clock to the second, by the time the reserve keeps for its "
            "cameras (no change to summer time)." + (" For the test set the delay to none." if delayed else ""),
        ),
        WalkStep(
            key="board",
            text="Hold a board with site and date, or a clock, before the lens until a picture is taken: it ties "
            "card, place and time together.",
        ),
        WalkStep(
            key="mark",
            text=f"Put up a mark {where}, its top {say(middle)} above the ground there. Turn and wedge the camera "
            "until the mark stands in the middle of its picture.",
        ),
    ]
    if path is not None:
        run_up = _run_up_m(path, advice.zone_deg)
        angle = min(path.angle_deg, 180 - path.angle_deg)
        steps.append(
            WalkStep(
                key="along easy",
                text=f"Walk the path at an easy pace, from {say(run_up)} before the mark to {say(run_up)} past it. "
                f"Note whether it fired. Then {pause} and walk back.",
                offset_m=path.offset_m,
                angle_deg=angle,
                speed_mps=EASY_MPS,
            )
        )
        steps.append(
            WalkStep(
                key="along brisk",
                text="The same briskly, both ways: a second speed tells a slow trigger from a wide zone.",
                offset_m=path.offset_m,
                angle_deg=angle,
                speed_mps=BRISK_MPS,
            )
        )
    else:
        near, far = patch_span_m(read.mount, aim)
        for key, away, name in (("near edge", near, "near"), ("far edge", far, "far")):
            steps.append(
                WalkStep(
                    key=key,
                    text=f"Walk straight across the view at the {name} edge, {say(away)} off, at an easy pace. Note "
                    f"whether it fired, then {pause}.",
                    offset_m=away,
                    angle_deg=90.0,
                    speed_mps=EASY_MPS,
                )
            )
    half = aim * math.tan(math.radians(min(advice.zone_deg, 160.0) / 2))
    beside = f"about {say(half)} to either side of the axis" if half >= mounting.CLOSE_M else "hardly beside the axis"
    steps.append(
        WalkStep(
            key="edge",
            text=f"At the mark's distance step slowly in from the left until it fires, {pause}, then from the right. "
            f"Reckoned: {beside}.",
            offset_m=aim,
            angle_deg=90.0,
        )
    )
    if read.animal.trunk_centre_m < LOW_BODY_M:
        steps.append(
            WalkStep(
                key="low",
                text=f"Pass the mark on hands and knees: {_a(read.animal.name)} is lower than you and a weaker signal "
                "still.",
            )
        )
    near_m = advice.ground.near_m
    seen = "" if math.isinf(near_m) else f"ground {mounting.begins(near_m, system)} on, "
    steps.append(
        WalkStep(
            key="review",
            text=f"Look at the pictures on the spot: the mark in the middle, {seen}the horizon level, no twig or "
            "grass near the lens, you in the picture each time it fired.",
        )
    )
    steps.append(
        WalkStep(
            key="leave",
            text=("Set the delay again, arm" if delayed else "Arm")
            + " the camera, see it go to sleep, lock it. Note what is different from this set-up sheet. Take the mark away.",  # noqa: E501
        )
    )
    return tuple(steps)


def _run_up_m(path: Path, zone_deg: float) -> float:
    """How far before and past the axis the walk must begin to come from outside the zone. [m]"""
    on_axis = crossing.along_m(path, 0.0)
    reaches = [abs(crossing.along_m(path, side * zone_deg / 2) - on_axis) for side in (-1, 1)]
    if any(math.isnan(reach) for reach in reaches):  # the path does not leave the zone on that side
        return LONGEST_WALK_M
    return min(max(reaches) + RUN_UP_M, LONGEST_WALK_M)


def _seconds(seconds: float) -> str:
    if seconds <= 90:
        return f"{max(5, math.ceil(seconds / 5) * 5)} s"
    return f"{math.ceil(seconds / 60)} min"


def _a(name: str) -> str:
    return ("an " if name[:1].lower() in "aeiou" else "a ") + name.lower()


def usual_cautions(read: Read, advice: PlacementAdvice, *, battery: str = "") -> tuple[str, ...]:
    """What is to be minded at such a place whatever the numbers say. Local law and trained people go first.

    battery : the batteries' designation, "" when not known.
    """
    ground, mount = read.ground, read.mount
    lines = [
        "Tell somebody where you go and when you are back; keep to your employer's rule for working alone.",
    ]
    if advice.height_m > mounting.LADDER_FROM_M or mount.holder == "ladder":
        lines.append(
            "Ladder: firm ground, footed or tied, three points of contact, nothing dead overhead, not in wind. "
            "Climbing is for people trained for it."
        )
    else:
        lines.append("Look up first: no dead or hanging branches over where you stand, and not in wind.")
    if ground.feature == "road":
        lines.append("At the road: park off it, be seen, mind traffic and gates.")
    if ground.feature in ("water", "ford"):
        lines.append("Water rises: hang the camera above the flood mark; wade nothing fast, deep or cold.")
    cold = mount.air_c[0] < 0
    if advice.snow_expected_m > 0 or (cold and ground.feature in ("water", "ford")):
        lines.append("Ice and snow: no table makes ice safe; in steep snow read the day's bulletin and do not go alone.")
    if ground.feature == "den":
        lines.append("An occupied den or nest only with the permit that covers it.")
    lines.append(
        "Animals: look at the last pictures before you walk up, make a noise where no rule says otherwise, keep "
        "away from carcasses and young."
    )
    lines.append("In hunting seasons ask first, wear a bright colour, do not walk in on a hunt.")
    kind = f" ({battery})" if battery else ""
    lines.append(
        f"Batteries{kind}: of one kind and age, as the maker says; a swollen, hot or leaking one is not used; take the "
        "dead ones home."
    )
    lines.append(
        "People who pass have a right to their pictures: notice where the law asks for it, no view of homes or "
        "public ways."
    )
    return tuple(lines)
