"""Where to set a camera next, from sign, features and the month: places ranked, each with its reasons.

A place's score is a plain sum of points, and every point is listed with its sentence; nothing is learned or
hidden. Points for sign fade with its age. Which feature draws animals in which month is common practice or
assumed, told as such, and months are turned by half a year south of the equator. A person who knows the
ground should change the order.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from trod.errors import WrongInput, positive
from trod.planning.ground.heightgrid import METRES_PER_DEGREE
from trod.planning.ground.site import Feature
from trod.planning.place.adviser import Aim

SignKind = Literal["tracks", "scat", "rub", "scrape", "trail", "bed", "feeding", "kill", "water", "other"]

# How much a fresh find of this kind tells of animals that come again. Ours.
SIGN_POINTS: dict[SignKind, float] = {
    "trail": 3.0, "tracks": 2.0, "scat": 2.0, "rub": 2.5, "scrape": 2.5, "bed": 1.5, "feeding": 2.0,
    "kill": 1.5, "water": 1.0, "other": 0.5,
}  # fmt: skip
HALF_LIFE_DAYS = 60.0  # sign tells half as much after so long. Assumed.
SAME_SEASON_SHARE = 0.5  # of its points that sign of the same month in an earlier year keeps. Assumed.
NEAR_M = 150.0  # sign nearer than this speaks for a place. Assumed.
MOST_SIGN_POINTS = 8.0
# What cameras saw at a place in this month of other years. Ours: 10 sequences in 30 camera-days are worth 2 points.
POINTS_A_TENFOLD = 2.0
MOST_CAME_POINTS = 4.0
FEWEST_CAME_DAYS = 7.0  # fewer camera-days say nothing for or against
NONE_CAME_DAYS = 20.0  # so many without an animal speak against a place
NONE_CAME_POINTS = -1.5

# Months (of the northern year) in which a feature draws animals, and how much. All common practice.
DRAWS: dict[Feature, tuple[tuple[frozenset[int], float], ...]] = {
    "water": ((frozenset({6, 7, 8, 9}), 3.0), (frozenset({5, 10}), 1.0),),
    "feeding": ((frozenset({1, 2, 3, 4, 11, 12}), 3.0),),
    "lick": ((frozenset({4, 5, 6, 7}), 3.0), (frozenset({3, 8}), 1.0),),
    "saddle": ((frozenset({4, 5, 10, 11}), 3.0),),
    "ford": ((frozenset({4, 5, 9, 10, 11}), 2.0),),
    "meadow": ((frozenset({4, 5, 6}), 2.0), (frozenset({9, 10}), 2.5),),
    "trail": ((frozenset(range(1, 13)), 2.0),),
    "road": ((frozenset(range(1, 13)), 1.5),),
    "fence": ((frozenset(range(1, 13)), 1.5),),
    "den": ((frozenset({9, 10}), 1.0),),
    "other": (),
}  # fmt: skip

# How well a camera at a feature answers. Common practice; what is left out is not at all.
ANSWERS: dict[Feature, dict[Aim, float]] = {
    "trail": {"species": 2.0, "hours": 2.0, "individuals": 2.0, "people": 1.5},
    "road": {"species": 1.5, "hours": 1.0, "individuals": 2.0, "people": 3.0},
    "water": {"species": 3.0, "behaviour": 2.0, "hours": 1.0},
    "ford": {"species": 1.5, "hours": 1.5},
    "lick": {"composition": 2.0, "individuals": 2.0, "species": 1.0, "behaviour": 1.5},
    "feeding": {"herd": 3.0, "composition": 3.0, "behaviour": 2.0, "individuals": 1.0},
    "meadow": {"herd": 2.0, "composition": 2.0, "behaviour": 2.0, "hours": 1.0},
    "saddle": {"species": 2.0, "hours": 1.5},
    "den": {"behaviour": 1.0, "individuals": 1.0},
    "fence": {"species": 2.0, "individuals": 1.5, "people": 2.0},
    "other": {},
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class SeenSign:
    """Sign that somebody saw: its kind, day and place. species : a name or key; "" when not told."""

    kind: SignKind
    seen_on: date
    latitude_deg: float
    longitude_deg: float
    species: str = ""

    def __post_init__(self) -> None:
        if self.kind not in get_args(SignKind):
            raise WrongInput("sign", got=self.kind, needed="one of " + ", ".join(get_args(SignKind)))
        _check(self.latitude_deg, self.longitude_deg)


@dataclass(frozen=True, kw_only=True)
class Came:
    """What cameras saw at a place in one month, all years together, already narrowed to the species asked about.

    place : its name. sequences : with the animals. camera_days : watched in that month. what : of which animals.
    """

    place: str
    sequences: int
    camera_days: float
    what: str = "animals"

    def __post_init__(self) -> None:
        positive("sequences", self.sequences, needed="a count, 0 or more", zero=True)
        positive("camera_days", self.camera_days, needed="days, 0 or more", zero=True)


@dataclass(frozen=True, kw_only=True)
class Place:
    """A site that may get a camera. watched : one stands there already. walk_min : from the road."""

    name: str
    latitude_deg: float
    longitude_deg: float
    feature: Feature
    watched: bool = False
    sensitive: bool = False
    closed: tuple[int, ...] = ()
    walk_min: float | None = None

    def __post_init__(self) -> None:
        if self.feature not in get_args(Feature):
            raise WrongInput("feature", got=self.feature, needed="one of " + ", ".join(get_args(Feature)))
        _check(self.latitude_deg, self.longitude_deg)
        if not all(month in range(1, 13) for month in self.closed):
            raise WrongInput("closed", got=self.closed, needed="months from 1 to 12")
        if self.walk_min is not None:
            positive("walk_min", self.walk_min, needed="minutes, 0 or more", zero=True)


def _check(latitude_deg: float, longitude_deg: float) -> None:
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        raise WrongInput("place", got=f"{latitude_deg:g}, {longitude_deg:g}", needed="latitude and longitude in degrees")


@dataclass(frozen=True, kw_only=True)
class Find:
    """A sign near a place.

    again : it counts for its season in an earlier year. any_species : nobody told its species, and one is asked for.
    """

    sign: SeenSign
    age_days: int
    away_m: float
    again: bool
    any_species: bool


PartWhy = Literal["draws", "sign", "came", "none came", "answers", "says little", "watched", "far on foot", "closed"]


@dataclass(frozen=True, kw_only=True)
class Part:
    """Some points and what for. month : asked about. draw : which row of the feature's `DRAWS`."""

    points: float
    why: PartWhy
    month: int
    feature: Feature
    draw: int = 0
    find: Find | None = None
    came: Came | None = None
    aim: Aim | None = None
    walk_min: float = 0.0


PlaceMinded = Literal["closed", "den", "feeding permit", "sensitive"]


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A place with its points. answers : what a camera there can tell, best first.

    points : the sum of `parts`. minded : before going. month : asked about.
    """

    place: Place
    month: int
    points: float
    parts: tuple[Part, ...]
    answers: tuple[Aim, ...]
    minded: tuple[PlaceMinded, ...]


def apart_m(lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float) -> float:
    """Metres between two points, flat: true to a metre in a kilometre away from the poles."""
    north = (lat2_deg - lat1_deg) * METRES_PER_DEGREE
    turn = (lon2_deg - lon1_deg + 180) % 360 - 180
    east = turn * METRES_PER_DEGREE * math.cos(math.radians((lat1_deg + lat2_deg) / 2))
    return math.hypot(north, east)


def northern_month(month: int, *, latitude_deg: float) -> int:
    """The month of the northern year with the same season."""
    return month if latitude_deg >= 0 else (month + 5) % 12 + 1


def sign_worth(sign: SeenSign, *, on: date) -> tuple[float, bool]:
    """Points of one find on a day, and whether it counts for its season. Sign of the future is worth nothing.

    Points of its kind, halved every 60 days; or, when that is more, half of them for sign of the same month
    (one either way) of an earlier year, halved again for each year before the last.
    """
    age = (on - sign.seen_on).days
    if age < 0:
        return 0.0, False
    whole = SIGN_POINTS[sign.kind]
    fresh = whole * 0.5 ** (age / HALF_LIFE_DAYS)
    years = max(1, round(age / 365.25))
    off = abs((sign.seen_on.month - on.month + 6) % 12 - 6)
    again = whole * SAME_SEASON_SHARE * 0.5 ** (years - 1) if age > 270 and off <= 1 else 0.0
    return (again, True) if again > fresh else (fresh, False)


def came_worth(came: Came) -> float | None:
    """Points of what came before in this month: by the logarithm of the sequences in 30 camera-days; or None.

    Too few camera-days say nothing. Many without an animal speak against the place. Effort is in the number,
    how easily a camera there is set off is not.
    """
    if came.camera_days < FEWEST_CAME_DAYS:
        return None
    if not came.sequences:
        return None if came.camera_days < NONE_CAME_DAYS else NONE_CAME_POINTS
    rate = 30 * came.sequences / came.camera_days
    return min(POINTS_A_TENFOLD * math.log10(1 + rate), MOST_CAME_POINTS)


def rank(
    places: Sequence[Place],
    signs: Sequence[SeenSign],
    *,
    on: date,
    aim: Aim | None = None,
    species: str = "",
    near_m: float = NEAR_M,
    came: Sequence[Came] = (),
) -> list[Candidate]:
    """Places from the most promising down, for a day, a question and, if wished, one species.

    species : only its sign counts (and sign of which nobody told the species, by half). came : what cameras
    saw in the month of `on`, by the names of places, for that species when one is asked about.
    Equal points keep the order of names.
    """
    positive("near_m", near_m)
    if aim is not None and aim not in get_args(Aim):
        raise WrongInput("aim", got=aim, needed="one of " + ", ".join(get_args(Aim)))
    before = {one.place: one for one in came}
    found = [_candidate(place, signs, on, aim, species, near_m, before.get(place.name)) for place in places]
    return sorted(found, key=lambda c: (-round(c.points, 6), c.place.name))


def _candidate(
    place: Place,
    signs: Sequence[SeenSign],
    on: date,
    aim: Aim | None,
    species: str,
    near_m: float,
    came: Came | None,
) -> Candidate:
    month, feature = on.month, place.feature
    parts: list[Part] = []

    def add(points: float, why: PartWhy, **more: object) -> None:
        parts.append(Part(points=points, why=why, month=month, feature=feature, **more))  # type: ignore[arg-type]

    northern = northern_month(month, latitude_deg=place.latitude_deg)
    for draw, (months, points) in enumerate(DRAWS[feature]):
        if northern in months:
            add(points, "draws", draw=draw)

    finds: list[tuple[float, Find]] = []
    for sign in signs:
        away = apart_m(place.latitude_deg, place.longitude_deg, sign.latitude_deg, sign.longitude_deg)
        if away > near_m or (species and sign.species and sign.species != species):
            continue
        worth, again = sign_worth(sign, on=on)
        any_species = bool(species and not sign.species)
        worth = worth / 2 if any_species else worth
        if worth >= 0.05:
            age = (on - sign.seen_on).days
            finds.append((worth, Find(sign=sign, age_days=age, away_m=away, again=again, any_species=any_species)))
    finds.sort(key=lambda find: -find[0])
    left = MOST_SIGN_POINTS
    for worth, find in finds:
        given = min(worth, left)
        if given <= 0:
            break
        add(given, "sign", find=find)
        left -= given

    seen = came_worth(came) if came is not None else None
    if seen is not None and came is not None:
        add(seen, "came" if came.sequences else "none came", came=came)

    told = ANSWERS[feature]
    if aim is not None and aim in told:
        add(told[aim], "answers", aim=aim)
    if aim is not None and aim not in told:
        add(-2.0, "says little", aim=aim)
    if place.watched:
        add(-3.0, "watched")
    if place.walk_min is not None and place.walk_min > 60:
        add(-min((place.walk_min - 60) / 60, 2.0), "far on foot", walk_min=place.walk_min)
    minded: list[PlaceMinded] = []
    if month in place.closed:
        add(-20.0, "closed")
        minded.append("closed")
    if feature == "den":
        minded.append("den")
    if feature in ("feeding", "lick"):
        minded.append("feeding permit")
    if place.sensitive:
        minded.append("sensitive")
    return Candidate(
        place=place,
        month=month,
        points=sum(part.points for part in parts),
        parts=tuple(parts),
        answers=tuple(sorted(told, key=lambda one: (-told[one], one))),
        minded=tuple(minded),
    )
