"""The records of a placement: how a camera is to be hung, and what is advised."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

from trod.errors import WrongInput, positive
from trod.planning.catch import detection
from trod.planning.ground.site import SiteGround
from trod.planning.place import mounting
from trod.planning.place.facts import Fact, Minded
from trod.planning.place.glare import FlashBand
from trod.planning.place.mounting import GroundSeen, SnowLimits, Wedge

Holder = Literal["trunk", "post", "ladder"]
# What animals pass, and what they stay at.
PASSED = ("trail", "road", "ford", "saddle", "fence")
STAYED = ("feeding", "lick", "water", "meadow")
GUIDELINES = "Remote Camera Survey Guidelines for Western Canada (2024), v2"
# Read off our own tables of the walk-by simulation: best angle by the path's distance, for 2 to 12 m.
RULE_BEST_DEG, RULE_PER_M_DEG, RULE_HALF_DEG = 20.0, 3.0, 5.0


@dataclass(frozen=True, kw_only=True)
class Mount:
    """How the camera is to be hung. What is None is advised.

    height_m : of the lens. heading_deg : true. aim_distance_m : along the ground, to the middle of the
    picture. highest_m : as high as one can work; 1.9 m by hand and 4 m from a ladder when None.
    months : in which it will stand. herd : animals at once. patch_m : (nearest, farthest) edge of a feeding
    ground. patch_width_m : of that ground; 4/3 of its depth when None. air_c : (coldest, warmest) usual air.
    """

    holder: Holder = "trunk"
    height_m: float | None = None
    heading_deg: float | None = None
    aim_distance_m: float | None = None
    case_height_mm: float = mounting.CASE_HEIGHT_MM
    highest_m: float | None = None
    months: tuple[int, ...] = tuple(range(1, 13))
    herd: int = 1
    patch_m: tuple[float, float] | None = None
    patch_width_m: float | None = None
    air_c: tuple[float, float] = (-5.0, 25.0)

    def __post_init__(self) -> None:
        if self.height_m is not None and not 0.05 <= self.height_m <= 30:
            raise WrongInput("height_m", got=self.height_m, needed="metres above the ground, 0.05 to 30")
        if self.heading_deg is not None and not 0 <= self.heading_deg <= 360:
            raise WrongInput("heading_deg", got=self.heading_deg, needed="degrees from true north, 0 to 360")
        if self.aim_distance_m is not None and not 0.5 <= self.aim_distance_m <= 200:
            raise WrongInput("aim_distance_m", got=self.aim_distance_m, needed="metres, 0.5 to 200")
        if not self.months or not all(month in range(1, 13) for month in self.months):
            raise WrongInput("months", got=self.months, needed="at least one month from 1 to 12")
        if not 1 <= self.herd <= 1000:
            raise WrongInput("herd", got=self.herd, needed="1 to 1000 animals")
        if self.patch_m is not None and not 0.5 <= self.patch_m[0] < self.patch_m[1] <= 200:
            raise WrongInput("patch_m", got=self.patch_m, needed="(nearest, farthest) edge in metres, 0.5 to 200")
        if not -60 <= self.air_c[0] <= self.air_c[1] <= 60:
            raise WrongInput("air_c", got=self.air_c, needed="(coldest, warmest) in °C, -60 to 60")
        positive("case_height_mm", self.case_height_mm)
        if self.patch_width_m is not None:
            positive("patch_width_m", self.patch_width_m)

    @property
    def top_m(self) -> float:
        """As high as one can work. [m]"""
        if self.highest_m is not None:
            return positive("highest_m", self.highest_m)
        return 4.0 if self.holder == "ladder" else mounting.LADDER_FROM_M


def patch_span_m(mount: Mount, aim_distance_m: float) -> tuple[float, float]:
    """Near and far edge of the ground on which animals stay. [m]

    As told, else 6/10 to 16/10 of the aim point's distance, at least 2 m off and half a metre deep (assumed).
    """
    if mount.patch_m is not None:
        return mount.patch_m
    near = max(0.6 * aim_distance_m, 2.0)
    return near, max(1.6 * aim_distance_m, near + 0.5)


class AngleSpan(Protocol):
    """What a simulation says of the angle to the path; `walkby.AngleAdvice` is one."""

    @property
    def low_deg(self) -> float: ...
    @property
    def best_deg(self) -> float: ...
    @property
    def high_deg(self) -> float: ...


@dataclass(frozen=True, kw_only=True)
class AngleRule:
    """The rule that stands in for a simulation."""

    low_deg: float
    best_deg: float
    high_deg: float


def angle_rule(offset_m: float) -> AngleRule:
    """About 20° + 3° for each metre between camera and path, ±5°, between 2 and 12 m.

    Read off our own tables (trigger time 2 s, bursts of three, deer-sized animals).
    """
    best = RULE_BEST_DEG + RULE_PER_M_DEG * min(max(offset_m, 2.0), 12.0)
    return AngleRule(low_deg=best - RULE_HALF_DEG, best_deg=best, high_deg=best + RULE_HALF_DEG)


@dataclass(frozen=True, kw_only=True)
class PlacementAdvice:
    """A placement: the numbers (for drawing and for the set-up sheet) and the facts behind them.

    angle_deg : (low, best, high) to the path; None where animals stay rather than pass. heading_deg : true;
    None when nothing decides it. aim_height_m : above the ground at the aim point. whole_span_m : between
    which distances the whole animal is in the picture. reach_cold, reach_warm : of the sensor for this
    animal. glare_h : hours a year of clear days with the sun in or near the picture. offset_m : of the path.
    crossing_deg : the angle that a heading asked for makes with it. facts : in the order they are told.
    minded : whatever the numbers say.
    """

    height_m: float
    tilt_deg: float
    wedge: Wedge
    aim_distance_m: float
    aim_height_m: float
    angle_deg: tuple[float, float, float] | None
    heading_deg: float | None
    fov_deg: float
    vertical_deg: float
    zone_deg: float
    ground: GroundSeen
    whole_span_m: tuple[float, float]
    cut_off_m: float
    snow: SnowLimits
    snow_expected_m: float
    flash: FlashBand | None
    reach_cold: detection.ReachBand
    reach_warm: detection.ReachBand
    glare_h: float | None
    pixels_on_body: float
    herd_share: float | None
    offset_m: float
    crossing_deg: float | None
    facts: tuple[Fact, ...]
    minded: tuple[Minded, ...]

    def fact(self, key: str) -> Fact:
        """One fact by its key. Raises WrongInput."""
        for fact in self.facts:
            if fact.key == key:
                return fact
        raise WrongInput("key", got=key, needed="one of " + ", ".join(fact.key for fact in self.facts))


def path_to_axis(advice: PlacementAdvice, ground: SiteGround) -> tuple[float, bool] | None:
    """The angle of the path to the axis (0 to 90°) and whether it runs away to the right; None without one.

    From the heading and the path's bearing when both are known, else as advised, away to the left.
    """
    if ground.path_bearing_deg is not None and advice.heading_deg is not None:
        turn = (ground.path_bearing_deg - advice.heading_deg) % 180.0
        return (turn, True) if turn <= 90 else (180.0 - turn, False)
    if advice.angle_deg is not None:
        return advice.angle_deg[1], False
    return None


def headings_for(*, path_bearing_deg: float, angle_deg: float, side: str | None) -> tuple[float, ...]:
    """The true headings that cross a path at an angle, for a tree on the left or right of it, or on either.

    A walker along the bearing has a tree on the left; its camera must look to the walker's right.
    """
    left = (path_bearing_deg + angle_deg, path_bearing_deg + 180 - angle_deg)
    right = (path_bearing_deg - angle_deg, path_bearing_deg + 180 + angle_deg)
    chosen = left if side == "left" else right if side == "right" else left + right
    return tuple(h % 360 for h in chosen)
