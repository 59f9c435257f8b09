"""The ground a camera looks over: slope, path, tree, cover, snow through the year, and the hills around.

`SiteGround` is what a person can tell of a place without instruments other than a compass, a tape and a
map. Nothing in it is a camera's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.errors import WrongInput, positive

Floats = NDArray[np.float64]

Feature = Literal["trail", "road", "water", "ford", "lick", "feeding", "meadow", "saddle", "den", "fence", "other"]
Cover = Literal["open", "low plants", "tall grass", "scrub", "wood"]
Side = Literal["left", "right"]


@dataclass(frozen=True)
class Horizon:
    """How high the hills stand around a place: pairs of bearing and height, between which it runs straight.

    points : (azimuth from true north, height above level) [°], in any order; one pair is a ring of that
    height. Without points the horizon is level.
    """

    points: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        seen: set[float] = set()
        for azimuth, height in self.points:
            if not 0 <= azimuth <= 360:
                raise WrongInput("horizon bearing", got=azimuth, needed="degrees from true north, 0 to 360")
            if not -30 <= height <= 89:
                raise WrongInput("horizon height", got=height, needed="degrees above level, -30 to 89")
            if azimuth % 360 in seen:
                raise WrongInput("horizon bearing", got=f"{azimuth:g} twice", needed="each bearing once")
            seen.add(azimuth % 360)

    def height_deg(self, azimuth_deg: ArrayLike) -> Floats:
        """Height of the horizon at bearings, in their shape. [°]"""
        asked = np.asarray(azimuth_deg, dtype=np.float64)
        if not self.points:
            return np.zeros_like(asked)
        pairs = sorted((azimuth % 360, height) for azimuth, height in self.points)
        return np.asarray(np.interp(asked, [a for a, _ in pairs], [h for _, h in pairs], period=360.0), dtype=np.float64)

    @property
    def text(self) -> str:
        """As `typed` reads it: "90 12, 120 18"."""
        return ", ".join(f"{azimuth:.12g} {height:.12g}" for azimuth, height in self.points)

    @classmethod
    def typed(cls, text: str) -> Horizon:
        """From what a person types: "90 12, 120 18, 180 5", or one pair a line; bearing first.

        Raises WrongInput that shows the pair.
        """
        points: list[tuple[float, float]] = []
        for part in text.replace("\n", ",").replace(";", ",").split(","):
            words = part.replace(":", " ").replace("°", " ").split()
            if not words:
                continue
            try:
                azimuth, height = (float(word) for word in words)
            except ValueError:
                raise WrongInput(
                    "horizon", got=part.strip()[:40], needed="pairs of bearing and height, as 90 12, 120 18"
                ) from None
            points.append((azimuth, height))
            if len(points) > 720:
                raise WrongInput("horizon", got="more than 720 pairs", needed="at most 720 pairs")
        return cls(tuple(points))


@dataclass(frozen=True, kw_only=True)
class Trunk:
    """A tree or post to hang a camera on.

    diameter_cm : at the camera's height. height_m : of the whole tree; None when not known. lean_deg : off
    upright. dead : standing dead wood. offset_m : its distance from the path; None when not known.
    """

    name: str = "tree"
    diameter_cm: float
    height_m: float | None = None
    lean_deg: float = 0.0
    dead: bool = False
    post: bool = False
    offset_m: float | None = None

    def __post_init__(self) -> None:
        positive("diameter_cm", self.diameter_cm)
        if self.height_m is not None:
            positive("tree height_m", self.height_m)
        if self.offset_m is not None:
            positive("tree offset_m", self.offset_m)
        if not 0 <= self.lean_deg < 90:
            raise WrongInput("lean_deg", got=self.lean_deg, needed="degrees off upright, 0 or more, below 90")


@dataclass(frozen=True, kw_only=True)
class Branch:
    """The lowest branch over the view. height_m : of its tip above the ground. length_m, diameter_mm : its.

    distance_m : from the lens. spread_m : how wide its twigs are.
    """

    height_m: float
    length_m: float
    diameter_mm: float
    distance_m: float = 2.0
    spread_m: float = 0.6
    evergreen: bool = True

    def __post_init__(self) -> None:
        for what in ("height_m", "length_m", "diameter_mm", "distance_m", "spread_m"):
            positive(f"branch {what}", getattr(self, what))


@dataclass(frozen=True, kw_only=True)
class SiteGround:
    """One place, as the person who stands there tells it.

    latitude_deg, longitude_deg : WGS 84. feature : what draws animals here.
    slope_deg : of the ground along the view, falling away from the camera positive. [°]
    path_bearing_deg : from true north; None where there is no path. offset_m : from the camera's tree or
    post to the nearest point of the path. side : on which side of the path the tree stands for one who
    walks along the bearing; None when either would do.
    cover : what grows in the view. canopy_percent : of the sky that is covered.
    snow_m : usual deepest snow by month, January first; empty where there is none.
    """

    latitude_deg: float
    longitude_deg: float = 0.0
    feature: Feature = "trail"
    slope_deg: float = 0.0
    path_bearing_deg: float | None = None
    offset_m: float = 4.0
    side: Side | None = None
    cover: Cover = "open"
    canopy_percent: float | None = None
    trunk: Trunk | None = None
    branch: Branch | None = None
    horizon: Horizon = Horizon()
    snow_m: tuple[float, ...] = ()
    sensitive: bool = False

    def __post_init__(self) -> None:
        for what, low, high, needed in (
            ("latitude_deg", -90, 90, "degrees from -90 (south) to 90 (north)"),
            ("longitude_deg", -180, 180, "degrees from -180 (west) to 180 (east)"),
            ("slope_deg", -60, 60, "degrees from -60 (rising) to 60 (falling away)"),
            ("offset_m", 0.3, 200, "metres between camera and path, from 0.3 to 200"),
        ):
            if not low <= getattr(self, what) <= high:
                raise WrongInput(what, got=getattr(self, what), needed=needed)
        if self.path_bearing_deg is not None and not 0 <= self.path_bearing_deg <= 360:
            raise WrongInput("path_bearing_deg", got=self.path_bearing_deg, needed="degrees from true north, 0 to 360")
        if self.canopy_percent is not None and not 0 <= self.canopy_percent <= 100:
            raise WrongInput("canopy_percent", got=self.canopy_percent, needed="per cent, 0 to 100")
        for what, value, words in (
            ("feature", self.feature, get_args(Feature)),
            ("cover", self.cover, get_args(Cover)),
        ):
            if value not in words:
                raise WrongInput(what, got=value, needed="one of " + ", ".join(words))
        if self.side is not None and self.side not in get_args(Side):
            raise WrongInput("side", got=self.side, needed="left or right, or nothing")
        if self.snow_m and (len(self.snow_m) != 12 or not all(0 <= s <= 20 for s in self.snow_m)):
            raise WrongInput("snow_m", got=self.snow_m, needed="twelve depths in metres, 0 to 20, or none")

    def deepest_snow_m(self, months: Sequence[int] = range(1, 13)) -> float:
        """The deepest usual snow of these months (1 is January). [m]"""
        return max((self.snow_m[month - 1] for month in months), default=0.0) if self.snow_m else 0.0
