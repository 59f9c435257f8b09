"""From one site to another: metres on the ground, minutes on foot and behind a wheel, and what cannot be reached.

Every way of getting about ends in one `Ways`: tables of minutes and metres from each place to each other,
walking and driving told apart. `straight` needs nothing but the places; `over_the_hills` walks a straight line
over a grid of heights; `trod.planning.visit.tracks` goes along the reserve's own tracks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.errors import WrongInput
from trod.planning.ground.heightgrid import HeightGrid

Floats = NDArray[np.float64]
Line = tuple[tuple[float, float], ...]
"""Points as (latitude, longitude). [°]"""

EARTH_M = 6_371_008.8  # mean radius, IUGG
MOST_PLACES = 1000


def distance_m(
    latitude_a_deg: ArrayLike, longitude_a_deg: ArrayLike, latitude_b_deg: ArrayLike, longitude_b_deg: ArrayLike
) -> Floats:
    """Great-circle distance on the mean sphere; the four broadcast. [m]

    Notes : the haversine form, exact for small distances. Against the ellipsoid it is up to about 0.6 % off,
    less than any track differs from its drawing.
    """
    a, b = np.radians(np.asarray(latitude_a_deg, float)), np.radians(np.asarray(latitude_b_deg, float))
    turn = np.radians(np.asarray(longitude_b_deg, float) - np.asarray(longitude_a_deg, float))
    half = np.sin((b - a) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(turn / 2) ** 2
    return np.asarray(2 * EARTH_M * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0))))


def tobler_kmh(slope: ArrayLike) -> Floats:
    """Walking speed on a path by its slope (rise over run, uphill positive). [km/h] Same shape as `slope`.

    Notes : 6·exp(−3.5·|S + 0.05|): 5.04 on the level, fastest (6) a little downhill.
    References : W. Tobler (1993) Three Presentations on Geographical Analysis and Modeling, NCGIA Technical
    Report 93-1 (formula from memory).
    """
    return np.asarray(6.0 * np.exp(-3.5 * np.abs(np.asarray(slope, dtype=np.float64) + 0.05)))


@dataclass(frozen=True, kw_only=True)
class Pace:
    """How fast the people of this reserve get about.

    on_path : their walking speed by Tobler's; 1 is an average walker without a heavy pack.
    off_path : the same across country; 0.6 is Tobler's own factor (from memory).
    drive_kmh : on the reserve's tracks; 20 is assumed. detour : ground to be walked or driven for each metre of
    straight line where no tracks are known; 1.3 is assumed.
    """

    on_path: float = 1.0
    off_path: float = 0.6
    drive_kmh: float = 20.0
    detour: float = 1.3

    def __post_init__(self) -> None:
        for name, low, high in (
            ("on_path", 0.1, 3.0),
            ("off_path", 0.05, 3.0),
            ("drive_kmh", 1.0, 130.0),
            ("detour", 1.0, 5.0),
        ):
            value = getattr(self, name)
            if not low <= value <= high:
                raise WrongInput(name, got=value, needed=f"a number from {low:g} to {high:g}")


@dataclass(frozen=True, kw_only=True)
class Place:
    """A place on a round.

    walk_in_m : on foot from where one can stop the car; used only where nothing better is known than a straight line.
    climb_m : how far one climbs on foot to it, from where one leaves the car, or from where the round starts when all
    of it is on foot; None when nobody said.
    """

    key: str
    latitude_deg: float
    longitude_deg: float
    walk_in_m: float = 0.0
    climb_m: float | None = None

    def __post_init__(self) -> None:
        if not (-90 <= self.latitude_deg <= 90 and -180 <= self.longitude_deg <= 180):
            raise WrongInput(
                f"place {self.key!r}",
                got=(self.latitude_deg, self.longitude_deg),
                needed="a latitude from -90 to 90 and a longitude from -180 to 180, in degrees",
            )
        if not 0 <= self.walk_in_m <= 50_000:
            raise WrongInput(f"walk_in_m of {self.key!r}", got=self.walk_in_m, needed="metres from 0 to 50 000")
        if self.climb_m is not None and not -3000 <= self.climb_m <= 5000:
            needed = "metres from -3000 (down) to 5000 (up)"
            raise WrongInput(f"climb_m of {self.key!r}", got=self.climb_m, needed=needed)


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way from a place to the next. climb_m : uphill metres on foot, None when heights are not known."""

    walk_min: float
    drive_min: float
    walk_m: float
    drive_m: float
    climb_m: float | None = None

    @property
    def minutes(self) -> float:
        """On foot and behind the wheel together."""
        return self.walk_min + self.drive_min


@dataclass(frozen=True, kw_only=True)
class HowGone:
    """How ways were worked out. along : what they follow. by_car : driven, and walked at both ends.

    detour : metres of way for each metre of straight line; 1 where nothing is added. drive_kmh : where a track has no
    speed of its own, 0 where all of it is on foot. heights : from where the slope is known. unknown_share : of the
    ground on which the height grid knows none, taken as level. typed : at so many sites somebody typed the climb.
    """

    along: Literal["straight lines", "across country", "tracks"] = "straight lines"
    by_car: bool = False
    detour: float = 1.0
    drive_kmh: float = 0.0
    heights: Literal["level", "grid", "typed"] = "level"
    unknown_share: float = 0.0
    typed: int = 0


@dataclass(frozen=True, kw_only=True)
class NoWay:
    """Why no way leads to a place.

    away_m, most_m : from the nearest track, and so far people leave one. walk_min, most_min : from where a car can
    stop, and the most that is walked.
    """

    why: Literal["far from tracks", "start far from tracks", "tracks apart", "long walk"]
    away_m: float = 0.0
    most_m: float = 0.0
    walk_min: float = 0.0
    most_min: float = 0.0


class NoStart(WrongInput):
    """The start of a round lies too far from any track that can be used. no_way : by how much."""

    def __init__(self, no_way: NoWay) -> None:
        super().__init__("start", got="a place far from any track", needed="a place close to a track that a car can use")
        self.no_way = no_way


@dataclass(frozen=True, kw_only=True)
class Supposed:
    """What was taken for the ways of a reserve where nobody said it.

    followed : what was to be gone along; `trouble` tells why its tracks could not be used. last_walk_m : from the car to
    each site, where no track tells. car_left : all of it is on foot, for no track is marked for cars.
    """

    followed: Literal["tracks", "no track", "unusable tracks", "as asked"] = "tracks"
    trouble: str = ""
    last_walk_m: float = 0.0
    car_left: bool = False


@dataclass(frozen=True, kw_only=True)
class WayShare:
    """One site's share of the way of a round.

    minutes : its share. whole_min, sites : of its trip, and to how many sites that goes. cameras : that share it there.
    how : how the ways were worked out; None where the share is assumed, and then `why` and `no_way` or `trouble` tell
    why.
    """

    minutes: float
    whole_min: float = 0.0
    sites: int = 1
    cameras: int = 1
    how: HowGone | None = None
    why: Literal["", "no start", "no way", "trouble"] = ""
    no_way: NoWay | None = None
    trouble: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ways:
    """Every way between some places. The tables have the shape (places, places), [from, to].

    keys : of the places, in the order of the tables. walk_min, drive_min [min], walk_m, drive_m, climb_m [m];
    infinite where there is no way; climb_m is None when heights are not known.
    missing : places that cannot be reached or left, with the reason. how : how it was worked out.
    """

    keys: tuple[str, ...]
    walk_min: Floats
    drive_min: Floats
    walk_m: Floats
    drive_m: Floats
    climb_m: Floats | None = None
    missing: Mapping[str, NoWay] = field(default_factory=dict)
    how: HowGone = field(default_factory=HowGone)
    drawn: Callable[[int, int], Line] = field(default=lambda a, b: (), repr=False)

    @property
    def minutes(self) -> Floats:
        """From each place to each other, on foot and behind the wheel together. [min]"""
        return np.asarray(self.walk_min + self.drive_min)

    def index(self, key: str) -> int:
        """The row of a place. Raises WrongInput for a place that the tables do not have."""
        try:
            return self.keys.index(key)
        except ValueError:
            raise WrongInput("place", got=key, needed="one of the places that the ways were worked out for") from None

    def way(self, start: str, end: str) -> Way:
        """The way from one place to another."""
        a, b = self.index(start), self.index(end)
        return Way(
            walk_min=float(self.walk_min[a, b]),
            drive_min=float(self.drive_min[a, b]),
            walk_m=float(self.walk_m[a, b]),
            drive_m=float(self.drive_m[a, b]),
            climb_m=None if self.climb_m is None else float(self.climb_m[a, b]),
        )

    def line(self, start: str, end: str) -> Line:
        """The way as points (latitude, longitude), to draw it."""
        return self.drawn(self.index(start), self.index(end))


def check_places(places: Sequence[Place]) -> tuple[str, ...]:
    """The keys of the places. Raises WrongInput when there are too few, too many, or two of one key."""
    keys = tuple(place.key for place in places)
    if not 1 <= len(keys) <= MOST_PLACES:
        raise WrongInput("places", got=len(keys), needed=f"1 to {MOST_PLACES} places")
    twice = sorted({key for key in keys if keys.count(key) > 1})
    if twice:
        raise WrongInput("places", got=twice, needed="each place once")
    return keys


def _apart(places: Sequence[Place]) -> Floats:
    lat = np.array([place.latitude_deg for place in places])
    lon = np.array([place.longitude_deg for place in places])
    return distance_m(lat[:, None], lon[:, None], lat, lon)


def _straight_lines(places: Sequence[Place]) -> Callable[[int, int], Line]:
    points = [(place.latitude_deg, place.longitude_deg) for place in places]
    return lambda a, b: (points[a], points[b])


def straight(
    places: Sequence[Place], *, pace: Pace | None = None, drive: bool = False, grid: HeightGrid | None = None
) -> Ways:
    """Ways by the straight line, lengthened by `pace.detour`: when nothing is known of tracks.

    drive : go by car, and on foot only each place's own `walk_in_m`; otherwise all of it on foot, as on a path.
    grid : heights along the line, for walking by the slope; level without one (see `with_climbs`).
    """
    pace = pace or Pace()
    keys = check_places(places)
    ground = _apart(places) * pace.detour
    if grid is not None and not drive:
        return over_the_hills(places, grid, pace=pace, on_path=True)
    level = float(tobler_kmh(0.0)) * pace.on_path
    nothing = np.zeros_like(ground)
    if not drive:
        walk = ground / 1000 / level * 60
        how = HowGone(detour=pace.detour)
        return Ways(
            keys=keys, walk_min=walk, drive_min=nothing, walk_m=ground, drive_m=nothing, how=how,
            drawn=_straight_lines(places),
        )  # fmt: skip
    walk_in = np.array([place.walk_in_m for place in places])
    walk_m = walk_in[:, None] + walk_in[None, :]
    np.fill_diagonal(walk_m, 0.0)
    return Ways(
        keys=keys,
        walk_min=walk_m / 1000 / level * 60,
        drive_min=ground / 1000 / pace.drive_kmh * 60,
        walk_m=walk_m,
        drive_m=ground,
        how=HowGone(by_car=True, detour=pace.detour, drive_kmh=pace.drive_kmh),
        drawn=_straight_lines(places),
    )


def heights_at(grid: HeightGrid, latitude_deg: Floats, longitude_deg: Floats) -> Floats:
    """Heights of the ground; NaN where the grid does not know. [m] The grid must be in degrees."""
    if not grid.degrees:
        raise WrongInput(
            "height grid", got="one in metres", needed="one in degrees of longitude and latitude, as the sites are"
        )
    return grid.at(longitude_deg, latitude_deg)


def walking_minutes(run_m: Floats, heights_m: Floats, *, factor: float = 1.0) -> tuple[float, float, float]:
    """Minutes along a line there and back, and the climb on the way out. [min, min, m]

    run_m : (n,) level metres of each step. heights_m : (n + 1,) at the ends of the steps; a step between unknown
    heights counts as level. factor : on Tobler's speed.
    """
    rise = np.diff(heights_m)
    rise = np.where(np.isfinite(rise), rise, 0.0)
    # On steps of no length a slope means nothing; they take no time either.
    slope = np.divide(rise, run_m, out=np.zeros_like(rise), where=run_m > 0)
    there = float(np.sum(run_m / 1000 / (tobler_kmh(slope) * factor)) * 60)
    back = float(np.sum(run_m / 1000 / (tobler_kmh(-slope) * factor)) * 60)
    return there, back, float(np.clip(rise, 0.0, None).sum())


def over_the_hills(
    places: Sequence[Place],
    grid: HeightGrid,
    *,
    pace: Pace | None = None,
    step_m: float = 25.0,
    on_path: bool = False,
) -> Ways:
    """On foot across country, straight over the grid's heights: uphill takes longer than down.

    step_m : how often the height is read. The straight line is not lengthened: a cliff or a river in it is not
    known, which `how` says. on_path : as on a path that follows the line, lengthened by `pace.detour`.
    """
    pace = pace or Pace()
    keys = check_places(places)
    if not 1 <= step_m <= 1000:
        raise WrongInput("step_m", got=step_m, needed="metres from 1 to 1000")
    longer, factor = (pace.detour, pace.on_path) if on_path else (1.0, pace.off_path)
    apart = _apart(places) * longer
    walk = np.zeros_like(apart)
    climb = np.zeros_like(apart)
    unknown = total = 0
    for a in range(len(places)):
        for b in range(a + 1, len(places)):
            steps = max(1, min(4000, math.ceil(apart[a, b] / step_m)))
            share = np.linspace(0.0, 1.0, steps + 1)
            lat = places[a].latitude_deg + share * (places[b].latitude_deg - places[a].latitude_deg)
            lon = places[a].longitude_deg + share * (places[b].longitude_deg - places[a].longitude_deg)
            heights = heights_at(grid, lat, lon)
            unknown, total = unknown + int(np.isnan(heights).sum()), total + heights.size
            run = np.full(steps, apart[a, b] / steps)
            walk[a, b], walk[b, a], climb[a, b] = walking_minutes(run, heights, factor=factor)
            climb[b, a] = walking_minutes(run, heights[::-1])[2]
    how = HowGone(
        along="straight lines" if on_path else "across country",
        detour=longer,
        heights="grid",
        unknown_share=unknown / total if total else 0.0,
    )
    nothing = np.zeros_like(apart)
    return Ways(
        keys=keys, walk_min=walk, drive_min=nothing, walk_m=apart, drive_m=nothing, climb_m=climb, how=how,
        drawn=_straight_lines(places),
    )  # fmt: skip


STEEPEST = 0.25  # no path to a camera is taken to rise more than one in four; a climb makes the way longer. Assumed.


def with_climbs(ways: Ways, places: Sequence[Place]) -> Ways:
    """Level ways with the climbs that people typed: uphill takes longer, by Tobler's speeds.

    `ways` themselves where nobody typed one, or where heights are known already.

    places : as the ways' keys, the start first, which has no climb. Between two places that are walked to from one
    start the rise is the difference of their climbs; between two that are driven to, one walks down from the first and
    up to the second. A place of which nobody typed a climb counts as level.
    """
    if ways.climb_m is not None or all(place.climb_m is None for place in places):
        return ways
    rise = np.array([place.climb_m or 0.0 for place in places])
    known = sum(place.climb_m is not None for place in places)

    def walked(metres: Floats, up: Floats) -> tuple[Floats, Floats]:
        """How many times longer the walk takes than on the level, and how many times as far it is."""
        sure = np.isfinite(metres) & (metres > 0)
        far = np.where(sure, np.maximum(metres, np.abs(up) / STEEPEST), 1.0)
        slope = np.where(sure, up / far, 0.0)
        longer = np.where(sure, far / np.where(sure, metres, 1.0), 1.0)
        return longer * float(tobler_kmh(0.0)) / tobler_kmh(slope), longer

    on_foot = ways.drive_min <= 0
    up = rise[None, :] - rise[:, None]
    slower, further = walked(ways.walk_m, up)
    # By car: each place's own walk, in and out; its share of a way's metres as that of the walks from the start.
    own = np.where(np.isfinite(ways.walk_m[0]), ways.walk_m[0], 0.0)
    own = np.maximum(own, 1.0)
    (there, far), (back, _) = walked(own, rise), walked(own, -rise)
    share = own[None, :] / (own[:, None] + own[None, :])
    by_car_slower = share * there[None, :] + (1 - share) * back[:, None]
    by_car_further = share * far[None, :] + (1 - share) * far[:, None]
    climb = np.where(on_foot, np.maximum(up, 0.0), np.maximum(rise, 0.0)[None, :] + np.maximum(-rise, 0.0)[:, None])
    np.fill_diagonal(climb, 0.0)
    return replace(
        ways,
        walk_min=ways.walk_min * np.where(on_foot, slower, by_car_slower),
        walk_m=ways.walk_m * np.where(on_foot, further, by_car_further),
        climb_m=climb,
        how=replace(ways.how, heights="typed", typed=known),
    )
