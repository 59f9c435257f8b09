"""A setup: one camera at one place, worked out to what is entered, walked and minded there.

`work_out_setup` asks the other modules of this room, each for its part: settings (`adviser`), how to hang it
(`placement`), what an animal that comes would meet (`walkby` or `dwelling`), the steps before the camera
(`steps`). How a placement becomes a case for the simulations stands here and nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from trod.errors import Stopped, WrongInput
from trod.planning.catch import dwelling, walkby
from trod.planning.catch.animals import Animal
from trod.planning.catch.crossing import Path, View
from trod.planning.catch.detection import Sensor, contrast_k
from trod.planning.catch.dwelling import Stay, StayCase, Visits
from trod.planning.catch.passers import Passer
from trod.planning.catch.ranking import DAYLIGHT_REACH_M
from trod.planning.catch.walkby import AngleAdvice, Case, Chances, Estimate, Timing
from trod.planning.equipment import optics
from trod.planning.equipment.camera import CameraSpec
from trod.planning.place import adviser, placement, steps
from trod.planning.place.advice import AngleSpan, PlacementAdvice, patch_span_m, path_to_axis
from trod.planning.place.adviser import SettingsAdvice
from trod.planning.place.facts import Minded
from trod.planning.place.glare import flash_band
from trod.planning.place.inputs import Read, at_pace
from trod.planning.place.steps import WalkStep

Light = Literal["day", "night"]
LIGHTS: tuple[Light, ...] = ("day", "night")
VISITS = 512  # of the quick answer where animals stay: errors up to 2 in 100, some 10 ms of processor time each
ANGLE_PASSES = 4_096
ANGLE_KEEP = 0.95  # angles with this share of the best catch serve as well
LEAST_ANGLE_DEG = 15.0  # below it the axis runs along the path, and a few degrees amiss miss it
# How much weaker a signal may be at these settings than the maker's range means. Assumed.
SENSITIVITY = {"high": 1.0, "auto": 1.0, "medium": 0.7, "low": 0.5}
CLIP_FRAME_S = 1.0  # a clip is reckoned as one picture a second
PATH_STEP_DEG = 5.0


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What comes of an animal that passes (chances) or of a visit (visits), by day or by night.

    Both are None where the camera takes nothing: it has no flash. case : to refine it.
    """

    light: Light
    animal: str
    case: Case | StayCase | None
    chances: Chances | None = None
    visits: Visits | None = None

    @property
    def caught(self) -> Estimate:
        """The share that is in some picture with its middle; none where the camera takes nothing."""
        if self.chances is not None:
            return self.chances.middle
        return self.visits.seen if self.visits is not None else Estimate(0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Setup:
    """A setup worked out. day, night : what comes of the animal. path : None where animals stay.

    angles : what the simulation said of the angle to the path, when it was asked. settings : as advised.
    walk_test : in order. minded : at such places, beside what the placement and its settings say.
    """

    spec: CameraSpec
    read: Read
    advice: PlacementAdvice
    settings: SettingsAdvice
    angles: AngleAdvice | None
    path: Path | None
    day: Outcome
    night: Outcome
    walk_test: tuple[WalkStep, ...]
    minded: tuple[Minded, ...]

    @property
    def animal(self) -> Animal:
        """The animal that is expected."""
        return self.read.animal

    @property
    def passing(self) -> bool:
        """Whether animals pass here rather than stay."""
        return self.path is not None


# --- from a placement to a case ---------------------------------------------------------------


def timing_of(spec: CameraSpec, settings: SettingsAdvice) -> Timing:
    """The camera's times at these settings: a delay keeps it deaf for longer; a clip is a picture a second."""
    inputs = settings.inputs
    frames, gap = inputs.burst, spec.value("burst_gap_s")
    if inputs.mode == "clip":
        frames, gap = max(1, round(inputs.clip_s / CLIP_FRAME_S)), CLIP_FRAME_S
    return Timing(
        trigger_s=spec.value("trigger_s"),
        frames=min(frames, 100),
        gap_s=gap,
        rearm_s=max(spec.value("rearm_s"), inputs.delay_s),
    )


def sensor_of(spec: CameraSpec, settings: SettingsAdvice) -> Sensor:
    """The sensor at the sensitivity that is set."""
    return Sensor(
        zone_deg=spec.value("zone_deg"),
        range_m=spec.value("range_m"),
        sensitivity=SENSITIVITY[settings.inputs.sensitivity],
    )


def view_of(spec: CameraSpec, animal: Animal, light: Light) -> View | None:
    """The view as far as its pictures are of use for an animal; None where it takes none (night, no flash).

    Notes : as far as pixels suffice to tell what it is (Johnson 1958), by day at most 60 m (assumed), by
    night as far as the flash lights.
    """
    columns = round(spec.value("columns"))
    needed = optics.johnson_per_m("recognition", least_dimension_m=animal.body.height_m)
    reach = optics.distance_for_m(columns=columns, fov_deg=spec.value("fov_deg"), wanted_per_m=needed)
    reach = min(reach, DAYLIGHT_REACH_M)
    if light == "night":
        lit = 0.0 if spec.flash == "none" else flash_band(reach_m=spec.value("flash_reach_m")).to_m
        reach = min(reach, lit)
    return View(fov_deg=spec.value("fov_deg"), reach_m=reach, columns=columns) if reach > 0 else None


def path_of(advice: PlacementAdvice, read: Read) -> Path | None:
    """The line on which animals pass as it lies to the camera's axis; None where they stay."""
    drawn = path_to_axis(advice, read.ground)
    if advice.angle_deg is None or drawn is None:
        return None
    return Path(offset_m=read.ground.offset_m, angle_deg=drawn[0])


def patch_of(advice: PlacementAdvice, read: Read) -> Stay:
    """The ground on which animals stay: as told, else about the aim point (6/10 to 16/10 of its distance)."""
    near, far = patch_span_m(read.mount, advice.aim_distance_m)
    return Stay(near_m=near, depth_m=far - near, width_m=read.mount.patch_width_m or (far - near) * 4 / 3)


def patch_told(advice: PlacementAdvice, read: Read) -> Stay | None:
    """The ground on which animals stay, where its edges were entered; None where they pass."""
    return patch_of(advice, read) if read.mount.patch_m is not None and advice.angle_deg is None else None


def usual_air_c(read: Read) -> float:
    """The air in which the chances are reckoned: midway between the coldest and the warmest. [°C]"""
    return sum(read.mount.air_c) / 2


def case_for(
    spec: CameraSpec,
    read: Read,
    advice: PlacementAdvice,
    settings: SettingsAdvice,
    *,
    light: Light,
    animal: Animal | None = None,
    path: Path | None = None,
) -> Case | StayCase | None:
    """What is asked of the simulation for a placement; None where the camera takes nothing in this light.

    animal : another one than expected, going as it usually does. path : another than that of the placement.
    """
    whose = animal or read.animal
    passer: Passer = read.passer if animal is None or animal == read.animal else at_pace(animal)
    view = view_of(spec, whose, light)
    if view is None:
        return None
    warm = contrast_k(usual_air_c(read))
    sensor, timing = sensor_of(spec, settings), timing_of(spec, settings)
    line = path or path_of(advice, read)
    if line is not None:
        return Case(passer=passer, path=line, sensor=sensor, view=view, timing=timing, contrast_k=warm)
    patch = patch_of(advice, read)
    return StayCase(passer=passer, stay=patch, sensor=sensor, view=view, timing=timing, contrast_k=warm)


def outcome_of(
    case: Case | StayCase | None, *, light: Light, animal: str, passes: int | None = None, seed: int = 1
) -> Outcome:
    """The quick answer to a case. passes : simulated passes; visits are an eighth of them."""
    if case is None:
        return Outcome(light=light, animal=animal, case=None)
    if isinstance(case, Case):
        found = walkby.first_answer(case, passes=passes or walkby.FIRST_PASSES, seed=seed)
        return Outcome(light=light, animal=animal, case=case, chances=found)
    number = VISITS if passes is None else max(64, passes // 8)
    return Outcome(light=light, animal=animal, case=case, visits=dwelling.visits(case, number=number, seed=seed))


def refined(
    outcome: Outcome,
    *,
    passes: int = 1_000_000,
    seed: int = 2,
    stop: Callable[[], bool] = lambda: False,
) -> Iterator[Outcome]:
    """Ever better answers to an outcome's case; visits are a sixty-fourth of the passes, in four steps.

    Raises Stopped when `stop` says so. Yields nothing where the camera takes nothing.
    """
    if isinstance(outcome.case, Case):
        for found in walkby.refine(outcome.case, passes=passes, seed=seed, stop=stop):
            yield replace(outcome, chances=found)
    elif isinstance(outcome.case, StayCase):
        parts: list[Visits] = []
        for turn in range(4):
            if stop():
                raise Stopped(f"stopped after {turn} of 4 steps")
            parts.append(dwelling.visits(outcome.case, number=max(64, passes // 256), seed=seed + turn))
            yield replace(outcome, visits=_pooled(parts))


def _pooled(parts: Sequence[Visits]) -> Visits:
    """Answers of equally many visits as one."""

    def mean(estimates: Sequence[Estimate]) -> Estimate:
        error = math.sqrt(sum(e.standard_error**2 for e in estimates)) / len(estimates)
        return Estimate(sum(e.value for e in estimates) / len(estimates), error)

    views = [p.in_view for p in parts if p.in_view is not None]
    return Visits(
        visits=sum(p.visits for p in parts),
        triggers=mean([p.triggers for p in parts]),
        pictures=mean([p.pictures for p in parts]),
        seen=mean([p.seen for p in parts]),
        in_view=mean(views) if views else None,
    )


def outcome_for(setup: Setup, animal: Animal, *, light: Light = "day", passes: int = 4_096) -> Outcome:
    """What the same camera, hung and set the same, makes of another animal at its own pace."""
    case = case_for(setup.spec, setup.read, setup.advice, setup.settings, light=light, animal=animal)
    return outcome_of(case, light=light, animal=animal.name, passes=passes)


# --- the whole --------------------------------------------------------------------------------


def work_out_setup(
    spec: CameraSpec,
    read: Read,
    animal: Animal | None = None,
    *,
    year: int = 2026,
    passes: int | None = None,
    simulate_angle: bool = False,
) -> Setup:
    """Work a setup out.

    animal : only to be sure; must be the one that the inputs were read for. passes : simulated for the chances;
    a quick number when None. simulate_angle : ask the simulation for the angle to the path (some 0.2 s)
    instead of the rule.
    """
    if animal is not None and animal != read.animal:
        raise WrongInput("animal", got=animal.name, needed=f"{read.animal.name}, for which the inputs were read")
    settings = adviser.advise(spec, read.wish)
    angles = angles_for(spec, read, settings) if simulate_angle else None
    span: AngleSpan | None = angles
    advice = placement.work_out(spec, read.ground, read.animal, read.mount, angles=span, year=year)
    path = path_of(advice, read)
    outcomes: dict[Light, Outcome] = {}
    for light in LIGHTS:
        case = case_for(spec, read, advice, settings, light=light, path=path)
        outcomes[light] = outcome_of(case, light=light, animal=read.animal.name, passes=passes)
    rearm_s = spec.value("rearm_s")
    return Setup(
        spec=spec,
        read=read,
        advice=advice,
        settings=settings,
        angles=angles,
        path=path,
        day=outcomes["day"],
        night=outcomes["night"],
        walk_test=steps.walk_steps(read, advice, path, rearm_s=rearm_s, delayed=settings.inputs.delay_s > rearm_s),
        minded=_minded(read, advice, settings),
    )


def _minded(read: Read, advice: PlacementAdvice, settings: SettingsAdvice) -> tuple[Minded, ...]:
    """What is usually minded, without what the placement and its settings say already."""
    said: set[Minded] = set()
    if "ladder" in advice.minded:
        said.add("ladder footing")
    if "people" in advice.minded or any(one.mind == "people" for one in settings.settings):
        said.add("privacy")
    return tuple(key for key in steps.usually_minded(read, advice) if key not in said)


def angles_for(
    spec: CameraSpec, read: Read, settings: SettingsAdvice, *, passes: int = ANGLE_PASSES
) -> AngleAdvice | None:
    """What the simulation says of the angle to the path for this camera and animal.

    None where animals stay or where no angle catches any.

    Notes : every 5° from 15° on, as far as the aim point stays where pictures are of use, also by night.
    Counted are animals whole in a picture, by day and by night as often as they come. Angles with at least
    19 in 20 of the best catch serve alike; of these the one with the fewest empty pictures is the best.
    """
    ground = read.ground
    if ground.feature in placement.STAYED or (
        ground.feature not in placement.PASSED and ground.path_bearing_deg is None
    ):
        return None
    night = min(max(read.wish.night_share, 0.0), 1.0)
    shares: dict[Light, float] = {"day": 1 - night, "night": night}
    lights = [
        (share, view)
        for light, share in shares.items()
        if share > 0 and (view := view_of(spec, read.animal, light)) is not None
    ]
    if not lights:
        return None
    sensor, timing, warm = sensor_of(spec, settings), timing_of(spec, settings), contrast_k(usual_air_c(read))
    farthest = max(min(view.reach_m for _, view in lights), ground.offset_m)
    tried: list[tuple[float, float, float]] = []  # angle, caught whole, share of pictures that are empty
    steps_up = range(round(LEAST_ANGLE_DEG / PATH_STEP_DEG), round(90 / PATH_STEP_DEG) + 1)
    for angle in (PATH_STEP_DEG * step for step in steps_up):
        if ground.offset_m / math.sin(math.radians(angle)) > farthest + 1e-9:
            continue
        whole = empty = 0.0
        for share, view in lights:
            path = Path(offset_m=ground.offset_m, angle_deg=angle)
            case = Case(passer=read.passer, path=path, sensor=sensor, view=view, timing=timing, contrast_k=warm)
            found = walkby.first_answer(case, passes=passes)
            whole += share * found.whole.value
            empty += share * (found.empty.value if found.empty is not None else 1.0)
        tried.append((angle, whole, empty))
    most = max(whole for _, whole, _ in tried)
    if most <= 0:
        return None
    serves = [whole >= ANGLE_KEEP * most for _, whole, _ in tried]
    best = min((i for i, good in enumerate(serves) if good), key=lambda i: tried[i][2])
    low = high = best
    while low > 0 and serves[low - 1]:
        low -= 1
    while high < len(tried) - 1 and serves[high + 1]:
        high += 1
    return AngleAdvice(
        low_deg=tried[low][0],
        best_deg=tried[best][0],
        high_deg=tried[high][0],
        chance=tried[best][1],
        across=tried[-1][1],
        table=tuple((angle, whole) for angle, whole, _ in tried),
    )
