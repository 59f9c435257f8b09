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
from trod.planning.ground.site import MONTHS, Feature
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

# Months (of the northern year) in which a feature draws animals, and why. All common practice.
DRAWS: dict[Feature, tuple[tuple[frozenset[int], float, str], ...]] = {
    "water": (
        (frozenset({6, 7, 8, 9}), 3.0, "water draws animals in the dry and warm months"),
        (frozenset({5, 10}), 1.0, "water still draws some animals"),
    ),
    "feeding": ((frozenset({11, 12, 1, 2, 3, 4}), 3.0, "animals come to fodder in winter"),),
    "lick": (
        (frozenset({4, 5, 6, 7}), 3.0, "minerals are sought in spring and early summer, when antlers and "
            "milk need them"),
        (frozenset({3, 8}), 1.0, "licks are still visited"),
    ),
    "saddle": ((frozenset({4, 5, 10, 11}), 3.0, "animals cross here when they move between summer and "
    "winter ground"),),
    "ford": ((frozenset({4, 5, 9, 10, 11}), 2.0, "animals cross here when they move between summer and "
    "winter ground"),),
    "meadow": (
        (frozenset({4, 5, 6}), 2.0, "fresh grass draws grazers"),
        (frozenset({9, 10}), 2.5, "the rut brings deer into the open"),
    ),
    "trail": ((frozenset(range(1, 13)), 2.0, "a used trail carries animals all year"),),
    "road": ((frozenset(range(1, 13)), 1.5, "large carnivores and others walk closed roads all year"),),
    "fence": ((frozenset(range(1, 13)), 1.5, "a gap gathers those who pass"),),
    "den": ((frozenset({9, 10}), 1.0, "young that left in summer show use of a den"),),
    "other": (),
}  # fmt: skip

# What a camera at a feature can answer: (how well, why). Common practice; 0 is not at all.
ANSWERS: dict[Feature, dict[Aim, tuple[float, str]]] = {
    "trail": {
        "species": (2.0, "many kinds use one trail"),
        "hours": (2.0, "animals pass here without staying"),
        "individuals": (2.0, "they pass close by and from the side"),
        "people": (1.5, "people walk trails too"),
    },
    "road": {
        "species": (1.5, "some kinds keep to roads and others shun them"),
        "hours": (1.0, "animals pass here"),
        "individuals": (2.0, "they pass close by and from the side"),
        "people": (3.0, "vehicles and walkers come this way"),
    },
    "water": {
        "species": (3.0, "nearly all kinds drink"),
        "behaviour": (2.0, "they stay a while"),
        "hours": (1.0, "drinking hours are not walking hours"),
    },
    "ford": {"species": (1.5, "animals cross here"), "hours": (1.5, "animals pass here")},
    "lick": {
        "composition": (2.0, "they stay, heads up, in the open"),
        "individuals": (2.0, "they stay and turn"),
        "species": (1.0, "few kinds come for minerals"),
        "behaviour": (1.5, "they stay a while"),
    },
    "feeding": {
        "herd": (3.0, "the herd gathers and stays"),
        "composition": (3.0, "the herd gathers and stays"),
        "behaviour": (2.0, "they stay a while"),
        "individuals": (1.0, "they stay and turn, but hide one another"),
    },
    "meadow": {
        "herd": (2.0, "groups graze in the open"),
        "composition": (2.0, "groups graze in the open"),
        "behaviour": (2.0, "they stay a while"),
        "hours": (1.0, "grazing hours"),
    },
    "saddle": {"species": (2.0, "ways from both sides meet"), "hours": (1.5, "animals pass here")},
    "den": {"behaviour": (1.0, "family life shows"), "individuals": (1.0, "residents come again and again")},
    "fence": {
        "species": (2.0, "all that pass come through one gap"),
        "individuals": (1.5, "they pass one by one, close by"),
        "people": (2.0, "people use gaps too"),
    },
    "other": {},
}


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
class Part:
    """Some points and the sentence for them."""

    points: float
    why: str


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A place with its points. answers : what a camera there can tell, best first, each with its reason.

    points : the sum of `parts`. cautions : to be minded before going.
    """

    place: Place
    points: float
    parts: tuple[Part, ...]
    answers: tuple[tuple[Aim, str], ...]
    cautions: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The place, its points and what gave most."""
        if not self.parts:
            return f"{self.place.name}: nothing speaks for it in this month."
        top = sorted(self.parts, key=lambda p: -p.points)[:2]
        return f"{self.place.name} ({self.points:.1f} points): " + "; ".join(p.why for p in top) + "."


def apart_m(lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float) -> float:
    """Metres between two points, flat: true to a metre in a kilometre away from the poles."""
    north = (lat2_deg - lat1_deg) * METRES_PER_DEGREE
    turn = (lon2_deg - lon1_deg + 180) % 360 - 180
    east = turn * METRES_PER_DEGREE * math.cos(math.radians((lat1_deg + lat2_deg) / 2))
    return math.hypot(north, east)


def northern_month(month: int, *, latitude_deg: float) -> int:
    """The month of the northern year with the same season."""
    return month if latitude_deg >= 0 else (month + 5) % 12 + 1


def sign_worth(sign: SeenSign, *, on: date) -> tuple[float, str]:
    """Points of one find on a day, and why. Sign of the future is worth nothing.

    Points of its kind, halved every 60 days; or, when that is more, half of them for sign of the same month
    (one either way) of an earlier year, halved again for each year before the last.
    """
    age = (on - sign.seen_on).days
    if age < 0:
        return 0.0, "seen after the day asked about"
    whole = SIGN_POINTS[sign.kind]
    fresh = whole * 0.5 ** (age / HALF_LIFE_DAYS)
    years = max(1, round(age / 365.25))
    off = abs((sign.seen_on.month - on.month + 6) % 12 - 6)
    again = whole * SAME_SEASON_SHARE * 0.5 ** (years - 1) if age > 270 and off <= 1 else 0.0
    what = f"{sign.kind} of {sign.species}" if sign.species else str(sign.kind)
    if again > fresh:
        return again, f"{what} at this time of year, {sign.seen_on:%Y}"
    days = "today" if age == 0 else "1 day ago" if age == 1 else f"{age} days ago"
    return fresh, f"{what}, {days}"


def came_worth(came: Came, *, on: date) -> Part | None:
    """Points of what came before in this month: by the logarithm of the sequences in 30 camera-days; or None.

    Too few camera-days say nothing. Many without an animal speak against the place. Effort is in the number,
    how easily a camera there is set off is not.
    """
    month, days = MONTHS[on.month - 1], f"{came.camera_days:.0f} camera-days"
    if came.camera_days < FEWEST_CAME_DAYS:
        return None
    if not came.sequences:
        if came.camera_days < NONE_CAME_DAYS:
            return None
        return Part(points=NONE_CAME_POINTS, why=f"no {came.what} in {days} of {month}")
    rate = 30 * came.sequences / came.camera_days
    points = min(POINTS_A_TENFOLD * math.log10(1 + rate), MOST_CAME_POINTS)
    times = "1 sequence" if came.sequences == 1 else f"{came.sequences} sequences"
    return Part(points=points, why=f"{times} with {came.what} in {days} of {month}")


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
    parts: list[Part] = []
    month = northern_month(on.month, latitude_deg=place.latitude_deg)
    for months, points, why in DRAWS[place.feature]:
        if month in months:
            parts.append(Part(points=points, why=f"{MONTHS[on.month - 1]}: {why}"))

    finds: list[tuple[float, str]] = []
    for sign in signs:
        away = apart_m(place.latitude_deg, place.longitude_deg, sign.latitude_deg, sign.longitude_deg)
        if away > near_m:
            continue
        if species and sign.species and sign.species != species:
            continue
        worth, why = sign_worth(sign, on=on)
        if species and not sign.species:
            worth, why = worth / 2, why + " (species unknown)"
        if worth >= 0.05:
            finds.append((worth, f"{why}, about {round(away, -1):.0f} m away"))
    finds.sort(key=lambda find: -find[0])
    left = MOST_SIGN_POINTS
    for worth, why in finds:
        given = min(worth, left)
        if given <= 0:
            break
        parts.append(Part(points=given, why=why))
        left -= given

    seen = came_worth(came, on=on) if came is not None else None
    if seen is not None:
        parts.append(seen)

    told = ANSWERS[place.feature]
    if aim is not None and aim in told:
        points, why = told[aim]
        parts.append(Part(points=points, why=f"answers the question: {why}"))
    if aim is not None and aim not in told:
        parts.append(Part(points=-2.0, why="says little about this question"))
    if place.watched:
        parts.append(Part(points=-3.0, why="a camera stands here already"))
    if place.walk_min is not None and place.walk_min > 60:
        parts.append(Part(points=-min((place.walk_min - 60) / 60, 2.0), why=f"{place.walk_min:.0f} min on foot"))
    cautions = []
    if on.month in place.closed:
        parts.append(Part(points=-20.0, why=f"closed in {MONTHS[on.month - 1]}"))
        cautions.append(f"Closed in {MONTHS[on.month - 1]}: do not go.")
    if place.feature == "den":
        cautions.append("A den: not while young are inside, and only with the permit that the law asks for.")
    if place.feature in ("feeding", "lick"):
        cautions.append("Feeding, baiting and salt are forbidden or need a permit in many places: ask first.")
    if place.sensitive:
        cautions.append("A sensitive site: give its true place to nobody.")
    answers = sorted(told.items(), key=lambda item: (-item[1][0], item[0]))
    return Candidate(
        place=place,
        points=sum(part.points for part in parts),
        parts=tuple(parts),
        answers=tuple((name, why) for name, (_, why) in answers),
        cautions=tuple(cautions),
    )
