"""Eskerwold, the invented reserve: its sites, species, cameras, and the year's deployments and visits.

There is no such place. Its point on the map lies at the foot of real mountains only so that the sun, the
snow and the seasons are likely; whoever lives there has nothing to do with it. The people, the makers and
their cameras are invented too. The species are real; their sizes are round figures from memory, and how
often and when they pass here is made up.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from trod.demo.daylight import sun

DEFAULT_NOW = date(2026, 6, 30)
"""The demo's last day when none is given, so that the same seed makes the same year."""

YEAR_D = 365


@dataclass(frozen=True)
class Reserve:
    """The ground as a whole."""

    name: str
    slug: str
    latitude_deg: float
    longitude_deg: float
    time_zone: str
    utc_offset_min: int
    note: str
    boundary: tuple[tuple[float, float], ...]
    """Corners as (longitude, latitude), closed, counter-clockwise. [°]"""


RESERVE = Reserve(
    name="Eskerwold",
    slug="eskerwold",
    latitude_deg=47.305,
    longitude_deg=13.905,
    time_zone="Europe/Vienna",
    utc_offset_min=60,
    note="An invented reserve with invented people and cameras. No such place exists; pictures are drawn.",
    boundary=(
        (13.862, 47.281),
        (13.901, 47.276),
        (13.944, 47.284),
        (13.951, 47.311),
        (13.928, 47.334),
        (13.889, 47.337),
        (13.858, 47.318),
        (13.862, 47.281),
    ),
)


@dataclass(frozen=True)
class Species:
    """One kind of animal, as the demo needs it.

    key : the demo's own short name. shoulder_m, length_m : adult withers height and head-to-rump length. [m]
    juvenile_scale : size of the young when they come, by the adult's. female_scale : the female's by the
    male's. hours : weight of each hour 0..23 of a day whose sun rises at 6 and sets at 18. months : weight
    of each month, January first. herd : (group size, weight) pairs. male_share, juvenile_share : of the
    animals that come. sexes_shown : whether a person can usually tell the sex from a picture.
    walk_mps, trot_mps, run_mps : usual speeds. [m/s]
    """

    key: str
    common: str
    scientific: str
    shoulder_m: float
    length_m: float
    hours: tuple[float, ...]
    months: tuple[float, ...]
    herd: tuple[tuple[int, float], ...]
    female_scale: float
    juvenile_scale: float
    male_share: float
    juvenile_share: float
    sexes_shown: bool
    walk_mps: float
    trot_mps: float
    run_mps: float
    gait_mix: tuple[float, float, float]
    sensitive: bool = False


def _hours(*peaks: tuple[float, float, float], floor: float = 0.03) -> tuple[float, ...]:
    """Weights of 24 hours from bumps on the circle: (hour, width in hours, height)."""
    h = np.arange(24) + 0.5
    w = np.full(24, floor)
    for at, width, height in peaks:
        apart = (h - at + 12) % 24 - 12
        w += height * np.exp(-0.5 * (apart / width) ** 2)
    return tuple(round(float(x), 4) for x in w / w.sum())


# Hours of a day whose sun rises at 6 and sets at 18; the story stretches them to the real day.
_DUSKY = _hours((6.0, 1.5, 1.0), (18.2, 1.6, 1.0), (1.0, 3.5, 0.35), (12.0, 3.0, 0.18))
_NIGHT = _hours((23.5, 3.0, 1.0), (3.5, 2.0, 0.6), floor=0.01)
_DAY = _hours((8.5, 2.0, 1.0), (15.0, 2.5, 0.7), floor=0.0)
_EVEN = (1.0,) * 12

SPECIES: tuple[Species, ...] = (
    Species(
        "red_deer",
        "Red deer",
        "Cervus elaphus",
        1.20,
        2.00,
        _DUSKY,
        (1.1, 1.1, 1.0, 0.9, 0.8, 0.8, 0.8, 1.0, 1.6, 1.5, 1.0, 1.1),
        ((1, 3), (2, 3), (3, 2.5), (4, 1.5), (6, 1)),
        0.88,
        0.66,
        0.32,
        0.22,
        True,
        1.2,
        3.2,
        7.5,
        (0.86, 0.10, 0.04),
    ),
    Species(
        "roe_deer",
        "Roe deer",
        "Capreolus capreolus",
        0.70,
        1.15,
        _DUSKY,
        (0.8, 0.8, 0.9, 1.1, 1.3, 1.2, 1.4, 1.2, 0.9, 0.8, 0.8, 0.8),
        ((1, 6), (2, 3), (3, 1)),
        0.97,
        0.68,
        0.42,
        0.18,
        True,
        1.1,
        3.0,
        7.0,
        (0.85, 0.10, 0.05),
    ),
    Species(
        "wild_boar",
        "Wild boar",
        "Sus scrofa",
        0.78,
        1.45,
        _NIGHT,
        (0.9, 0.9, 1.0, 1.1, 1.2, 1.1, 1.1, 1.2, 1.2, 1.2, 1.1, 0.9),
        ((1, 3), (2, 2), (4, 2), (6, 1.5), (8, 0.8)),
        0.88,
        0.50,
        0.35,
        0.40,
        True,
        1.1,
        3.0,
        6.0,
        (0.75, 0.20, 0.05),
    ),
    Species(
        "red_fox",
        "Red fox",
        "Vulpes vulpes",
        0.38,
        0.72,
        _hours((20.5, 2.6, 1.0), (4.5, 2.0, 0.8), (8.0, 1.8, 0.2)),
        (1.2, 1.2, 1.1, 1.0, 1.1, 1.2, 1.1, 1.0, 1.0, 1.0, 1.0, 1.1),
        ((1, 14), (2, 1)),
        0.94,
        0.62,
        0.5,
        0.10,
        False,
        1.0,
        2.6,
        6.0,
        (0.50, 0.45, 0.05),
    ),
    Species(
        "badger",
        "European badger",
        "Meles meles",
        0.30,
        0.75,
        _NIGHT,
        (0.1, 0.2, 0.8, 1.2, 1.4, 1.4, 1.4, 1.3, 1.2, 1.0, 0.5, 0.2),
        ((1, 7), (2, 2), (3, 1)),
        0.96,
        0.62,
        0.5,
        0.15,
        False,
        0.9,
        2.0,
        4.0,
        (0.80, 0.20, 0.0),
    ),
    Species(
        "brown_hare",
        "Brown hare",
        "Lepus europaeus",
        0.29,
        0.60,
        _hours((19.5, 2.0, 1.0), (5.0, 1.8, 1.0), (0.5, 3.0, 0.5)),
        (0.8, 1.1, 1.5, 1.4, 1.2, 1.1, 1.0, 0.9, 0.8, 0.8, 0.8, 0.8),
        ((1, 8), (2, 2)),
        1.0,
        0.65,
        0.5,
        0.08,
        False,
        0.7,
        2.5,
        8.0,
        (0.70, 0.15, 0.15),
    ),
    Species(
        "grey_wolf",
        "Grey wolf",
        "Canis lupus",
        0.75,
        1.25,
        _NIGHT,
        (1.4, 1.4, 1.3, 0.8, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3),
        ((1, 4), (2, 3), (4, 1)),
        0.92,
        0.70,
        0.5,
        0.08,
        False,
        1.4,
        2.8,
        7.0,
        (0.35, 0.60, 0.05),
        True,
    ),
    Species(
        "lynx",
        "Eurasian lynx",
        "Lynx lynx",
        0.62,
        1.00,
        _NIGHT,
        (1.3, 1.6, 1.7, 1.0, 0.8, 0.7, 0.7, 0.8, 0.9, 1.0, 1.0, 1.2),
        ((1, 9), (2, 1)),
        0.90,
        0.62,
        0.5,
        0.10,
        False,
        1.1,
        2.5,
        6.0,
        (0.92, 0.06, 0.02),
        True,
    ),
    Species(
        "pine_marten",
        "Pine marten",
        "Martes martes",
        0.17,
        0.48,
        _NIGHT,
        _EVEN,
        ((1, 1),),
        0.90,
        0.70,
        0.5,
        0.05,
        False,
        0.9,
        2.4,
        4.5,
        (0.45, 0.40, 0.15),
    ),
    Species(
        "jay",
        "Eurasian jay",
        "Garrulus glandarius",
        0.19,
        0.34,
        _DAY,
        (0.7, 0.7, 0.8, 0.9, 0.9, 0.8, 0.9, 1.1, 1.5, 1.6, 1.1, 0.8),
        ((1, 4), (2, 1)),
        1.0,
        0.9,
        0.5,
        0.0,
        False,
        0.4,
        1.0,
        3.0,
        (0.85, 0.15, 0.0),
    ),
)
SPECIES_BY_KEY = {s.key: s for s in SPECIES}


@dataclass(frozen=True)
class CameraModel:
    """A camera as its invented maker describes it.

    folder_tail, file_head : the free letters of its DCF names (CIPA DC-009): 5 and 4 of [0-9A-Z_].
    stamp : what the model writes into EXIF beside the time: "offset", "subsec", "gps", "serial", "thumbnail".
    """

    maker: str
    model: str
    slug: str
    hfov_deg: float
    megapixels: float
    flash: str
    flash_range_m: float
    trigger_s: float
    burst: int
    burst_gap_s: float
    rearm_s: float
    folder_tail: str
    file_head: str
    stamp: tuple[str, ...]
    cells: str


CAMERA_MODELS: tuple[CameraModel, ...] = (
    CameraModel(
        "Tarnbeckle",
        "Lanthorn 3",
        "tarnbeckle-lanthorn-3",
        42.0,
        12,
        "low-glow",
        24,
        0.30,
        3,
        0.7,
        6,
        "TARNB",
        "LANT",
        ("serial", "subsec"),
        "8 × AA lithium",
    ),
    CameraModel(
        "Oddlethorpe",
        "Wren 12",
        "oddlethorpe-wren-12",
        40.0,
        12,
        "no-glow",
        17,
        0.45,
        2,
        1.0,
        10,
        "ODDLE",
        "WREN",
        ("serial",),
        "12 × AA lithium",
    ),
    CameraModel(
        "Vespergate",
        "Duskmoth S",
        "vespergate-duskmoth-s",
        52.0,
        16,
        "no-glow",
        28,
        0.20,
        3,
        0.5,
        3,
        "DUSKM",
        "DUSK",
        ("serial", "offset", "subsec", "gps", "thumbnail"),
        "8 × AA NiMH",
    ),
    CameraModel(
        "Hobkindle",
        "Gill 8",
        "hobkindle-gill-8",
        55.0,
        8,
        "low-glow",
        18,
        0.90,
        1,
        0.0,
        30,
        "HOBKI",
        "GILL",
        (),
        "8 × AA alkaline",
    ),
)
MODELS_BY_SLUG = {m.slug: m for m in CAMERA_MODELS}


@dataclass(frozen=True)
class Camera:
    """One camera. drift_s_d : seconds its clock gains each day (negative loses). [s/d]"""

    serial: str
    model: str
    name: str
    bought: date
    drift_s_d: float
    state: str = "in use"


CAMERAS: tuple[Camera, ...] = (
    Camera("TB3-40117", "tarnbeckle-lanthorn-3", "ESK 01", date(2023, 3, 14), 0.8),
    Camera("TB3-40118", "tarnbeckle-lanthorn-3", "ESK 02", date(2023, 3, 14), -1.1),
    Camera("TB3-40122", "tarnbeckle-lanthorn-3", "ESK 03", date(2023, 3, 14), 0.4),
    Camera("TB3-40139", "tarnbeckle-lanthorn-3", "ESK 04", date(2024, 2, 2), 1.6),
    Camera("TB3-40140", "tarnbeckle-lanthorn-3", "ESK 05", date(2024, 2, 2), -0.3),
    Camera("ODW-0871", "oddlethorpe-wren-12", "ESK 06", date(2022, 9, 20), 2.2),
    Camera("ODW-0872", "oddlethorpe-wren-12", "ESK 07", date(2022, 9, 20), -1.9, "faulty"),
    Camera("ODW-0913", "oddlethorpe-wren-12", "ESK 08", date(2024, 5, 6), 0.6),
    Camera("ODW-0914", "oddlethorpe-wren-12", "ESK 09", date(2024, 5, 6), -0.7),
    Camera("DMS2209K", "vespergate-duskmoth-s", "ESK 10", date(2024, 10, 1), 0.2),
    Camera("DMS2211K", "vespergate-duskmoth-s", "ESK 11", date(2024, 10, 1), -0.4),
    Camera("DMS2240K", "vespergate-duskmoth-s", "ESK 12", date(2025, 4, 11), 0.3),
    Camera("G8-55102", "hobkindle-gill-8", "ESK 13", date(2021, 6, 30), 3.1),
    Camera("G8-55107", "hobkindle-gill-8", "ESK 14", date(2021, 6, 30), -2.6),
)
CAMERAS_BY_SERIAL = {c.serial: c for c in CAMERAS}


@dataclass(frozen=True)
class Site:
    """A place where a camera hangs.

    kind : what it is, in the trade's words. look : which scenery the renderer draws.
    slope_deg : positive falls away from the camera. path_deg : angle between the animals' usual way and the
    camera's axis, 90 straight across. range_m : nearest and farthest usual distance of animals. edge_m :
    where the forest's edge or the brow stands. draw : weight of each species here (those not named do not
    come). busy : how much goes on here, 1 being usual.
    """

    name: str
    slug: str
    kind: str
    look: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    slope_deg: float
    path_deg: float
    range_m: tuple[float, float]
    edge_m: float
    canopy: float
    tree: str
    draw: tuple[tuple[str, float], ...]
    busy: float = 1.0
    dwell: float = 0.0
    """Share of visits in which the animals stay to feed, drink or lick."""
    sensitive: bool = False


SITES: tuple[Site, ...] = (
    Site(
        "Alder Track",
        "alder-track",
        "track",
        "track",
        47.2902,
        13.8961,
        742,
        1,
        35,
        (3.5, 12),
        26,
        0.6,
        "alder",
        (
            ("red_deer", 1),
            ("roe_deer", 1.4),
            ("wild_boar", 1),
            ("red_fox", 1.6),
            ("badger", 0.6),
            ("brown_hare", 0.4),
            ("grey_wolf", 0.15),
            ("pine_marten", 0.3),
        ),
        1.1,
    ),
    Site(
        "Stone Ford",
        "stone-ford",
        "ford",
        "ford",
        47.2851,
        13.9127,
        705,
        3,
        75,
        (4, 11),
        24,
        0.5,
        "willow",
        (
            ("red_deer", 1.2),
            ("roe_deer", 0.8),
            ("wild_boar", 1.2),
            ("red_fox", 0.8),
            ("badger", 0.5),
            ("grey_wolf", 0.1),
            ("pine_marten", 0.2),
        ),
        0.9,
        0.15,
    ),
    Site(
        "Grey Lick",
        "grey-lick",
        "salt lick",
        "lick",
        47.3017,
        13.8842,
        861,
        -2,
        60,
        (4, 8),
        19,
        0.8,
        "spruce",
        (("red_deer", 2.2), ("roe_deer", 1.4), ("brown_hare", 0.3), ("jay", 0.3)),
        1.2,
        0.6,
    ),
    Site(
        "Hay Stand",
        "hay-stand",
        "winter feeding ground",
        "feeding",
        47.2958,
        13.9216,
        774,
        0,
        70,
        (7, 16),
        34,
        0.3,
        "beech",
        (("red_deer", 3.0), ("roe_deer", 0.5), ("wild_boar", 0.8), ("red_fox", 0.3), ("jay", 0.5)),
        1.9,
        0.8,
    ),
    Site(
        "Larkfield Edge",
        "larkfield-edge",
        "meadow edge",
        "meadow",
        47.2876,
        13.9338,
        698,
        2,
        65,
        (4, 20),
        42,
        0.2,
        "beech",
        (
            ("red_deer", 0.6),
            ("roe_deer", 2.4),
            ("wild_boar", 0.7),
            ("red_fox", 1.2),
            ("brown_hare", 2.0),
            ("badger", 0.4),
        ),
        1.2,
        0.35,
    ),
    Site(
        "High Saddle",
        "high-saddle",
        "ridge saddle",
        "ridge",
        47.3248,
        13.9073,
        1385,
        5,
        50,
        (4, 14),
        24,
        0.05,
        "pine",
        (
            ("red_deer", 1.2),
            ("roe_deer", 0.3),
            ("red_fox", 0.8),
            ("grey_wolf", 0.4),
            ("lynx", 0.5),
            ("brown_hare", 0.3),
        ),
        0.6,
    ),
    Site(
        "Closed Lane",
        "closed-lane",
        "closed lane",
        "lane",
        47.2834,
        13.8829,
        721,
        0,
        25,
        (4, 14),
        30,
        0.5,
        "beech",
        (("roe_deer", 0.8), ("red_fox", 1.3), ("badger", 0.7), ("wild_boar", 0.6), ("brown_hare", 0.6)),
        1.0,
    ),
    Site(
        "Heron Pool",
        "heron-pool",
        "water hole",
        "pool",
        47.2969,
        13.8725,
        766,
        4,
        80,
        (4, 10),
        22,
        0.5,
        "alder",
        (
            ("red_deer", 1.0),
            ("roe_deer", 1.0),
            ("wild_boar", 1.8),
            ("red_fox", 0.6),
            ("badger", 0.4),
            ("jay", 1.0),
        ),
        1.0,
        0.45,
    ),
    Site(
        "Orchard Wall",
        "orchard-wall",
        "orchard wall",
        "wall",
        47.2812,
        13.9241,
        684,
        -1,
        70,
        (3.5, 10),
        26,
        0.3,
        "apple",
        (
            ("roe_deer", 1.2),
            ("badger", 1.5),
            ("red_fox", 1.4),
            ("brown_hare", 0.8),
            ("jay", 0.9),
            ("wild_boar", 0.4),
            ("pine_marten", 0.5),
        ),
        1.0,
        0.4,
    ),
    Site(
        "Scree Foot",
        "scree-foot",
        "scree foot",
        "scree",
        47.3171,
        13.8887,
        1120,
        -9,
        60,
        (4, 12),
        22,
        0.1,
        "pine",
        (("red_deer", 0.7), ("red_fox", 0.7), ("lynx", 0.4), ("pine_marten", 0.6), ("roe_deer", 0.3)),
        0.6,
    ),
    Site(
        "Sett Bank",
        "sett-bank",
        "sett",
        "woodland",
        47.2921,
        13.9042,
        758,
        -4,
        70,
        (3, 7),
        17,
        0.85,
        "beech",
        (("badger", 3.0), ("red_fox", 0.8), ("pine_marten", 0.4), ("roe_deer", 0.4), ("jay", 0.4)),
        0.9,
        0.4,
        True,
    ),
    Site(
        "Lynx Gallery",
        "lynx-gallery",
        "rock ledge",
        "gallery",
        47.3189,
        13.9199,
        1164,
        3,
        40,
        (3, 9),
        18,
        0.7,
        "spruce",
        (("lynx", 1.6), ("red_fox", 0.7), ("pine_marten", 0.7), ("red_deer", 0.4), ("grey_wolf", 0.25)),
        0.5,
        0.1,
        True,
    ),
)
SITES_BY_SLUG = {s.slug: s for s in SITES}

TECHNICIANS = ("Ilka Marwood", "Tobin Achterfeld", "Suri Penhallick")


@dataclass(frozen=True)
class ClockStep:
    """From `since` (true, UTC) the clock is wrong by `error_s`; positive: it shows too late a time. [s]"""

    since: datetime
    error_s: float


@dataclass(frozen=True)
class Spell:
    """Something that lasts: "asked", "askew", "ice", "weak battery", "off", "full card". True times, UTC."""

    what: str
    start: datetime
    end: datetime


@dataclass(frozen=True)
class Visit:
    """A person at a camera."""

    deployment: str
    at: datetime
    by: str
    kind: str
    """set, check, card swap, take down"""
    found: str
    """State on arrival: working, dead, askew, card full."""
    clock_found_s: float | None
    """Camera's clock minus true time on arrival; None when it could not be read. [s]"""
    clock_set: bool
    battery_pct: int | None
    card_out: str | None
    card_in: str | None
    cells_changed: bool
    notes: str


@dataclass(frozen=True)
class Card:
    """A memory card's stay in a camera. folder : where it is written to; None while it is in the camera."""

    name: str
    deployment: str
    size_gb: int
    put_in: datetime
    taken_out: datetime | None
    folder: str | None
    just_pulled: bool = False


@dataclass(frozen=True)
class Deployment:
    """A camera at a site for a time, at ONE fixed offset from UTC."""

    slug: str
    site: str
    camera: str
    start: datetime
    end: datetime | None
    utc_offset_min: int
    lens_height_m: float
    aim_distance_m: float
    tilt_deg: float
    heading_deg: float
    settings: tuple[tuple[str, str], ...]
    cells: str
    clock: tuple[ClockStep, ...] = ()
    spells: tuple[Spell, ...] = ()

    @property
    def timezone(self) -> timezone:
        """The fixed offset its clock was set to."""
        return timezone(timedelta(minutes=self.utc_offset_min))

    def clock_error_s(self, at: datetime) -> float:
        """Camera's clock minus true time at a true instant: the last step plus the drift since then. [s]"""
        step = max((c for c in self.clock if c.since <= at), key=lambda c: c.since)
        drift = CAMERAS_BY_SERIAL[self.camera].drift_s_d
        return step.error_s + drift * (at - step.since).total_seconds() / 86400

    def during(self, what: str, at: datetime) -> Spell | None:
        """The spell of that name that holds at an instant."""
        for s in self.spells:
            if s.what == what and s.start <= at < s.end:
                return s
        return None


@dataclass(frozen=True)
class Sign:
    """Sign of an animal found on foot."""

    kind: str
    species: str
    latitude_deg: float
    longitude_deg: float
    on: date
    by: str
    note: str


@dataclass(frozen=True)
class Year:
    """All that hangs on the last day: deployments, visits, cards and sign of the year before it."""

    now: date
    deployments: tuple[Deployment, ...]
    visits: tuple[Visit, ...]
    cards: tuple[Card, ...]
    signs: tuple[Sign, ...] = field(default=())

    def deployment(self, slug: str) -> Deployment:
        """The deployment of that slug; KeyError if there is none."""
        for d in self.deployments:
            if d.slug == slug:
                return d
        raise KeyError(slug)


# How each camera hangs: site, camera, height, aim distance, tilt, heading, day it is set, day it is taken
# down.
_PLAN: tuple[tuple[str, str, float, float, float, float, int, int | None], ...] = (
    ("alder-track", "TB3-40117", 0.90, 6.0, 3.0, 20.0, 0, None),
    ("stone-ford", "ODW-0872", 1.10, 7.0, 4.5, 75.0, 0, 230),
    ("stone-ford", "TB3-40139", 1.10, 7.0, 4.5, 75.0, 230, None),
    ("grey-lick", "TB3-40118", 1.20, 6.0, 3.5, 340.0, 0, None),
    ("hay-stand", "DMS2209K", 3.00, 11.0, 9.0, 15.0, 0, None),
    ("larkfield-edge", "TB3-40122", 1.00, 9.0, 3.0, 255.0, 1, None),
    ("high-saddle", "ODW-0871", 0.90, 7.0, 4.0, 10.0, 2, None),
    ("closed-lane", "G8-55102", 1.00, 7.0, 2.5, 45.0, 1, None),
    ("heron-pool", "DMS2211K", 1.00, 6.5, 5.0, 330.0, 1, None),
    ("orchard-wall", "ODW-0913", 0.60, 5.5, 1.0, 115.0, 1, None),
    ("scree-foot", "G8-55107", 0.80, 7.0, -4.0, 300.0, 2, 118),
    ("scree-foot", "TB3-40140", 0.90, 7.0, -4.5, 325.0, 118, None),
    ("sett-bank", "ODW-0914", 0.55, 4.5, 0.0, 5.0, 2, None),
    ("lynx-gallery", "DMS2240K", 0.60, 5.0, 3.0, 350.0, 2, None),
)
_ROUNDS_D = (55, 118, 176, 230, 288)  # days after the first; each round takes three days
JUST_PULLED = ("larkfield-edge", "stone-ford")
TIME_LAPSE = ("hay-stand", "high-saddle", "sett-bank")
"""Sites whose camera also takes a picture by the clock, at noon every seventh day."""


ICE_FROM, ICE_D = (1, 6), 22  # month and day, and for how many days the lens is iced


def _is_summer_time(at: datetime) -> bool:
    return bool(at.astimezone(ZoneInfo(RESERVE.time_zone)).dst())


def _visit_days(set_d: int, down_d: int | None, *, late: bool) -> list[tuple[int, str]]:
    days: list[tuple[int, str]] = [(set_d, "set")]
    for d in _ROUNDS_D:
        lag = set_d if set_d <= 2 else 0
        if d > set_d and (down_d is None or d < down_d):
            days.append((d + lag, "card swap" if d == 176 else "check"))
    if down_d is not None:
        days.append((down_d, "take down"))
    elif late:
        days += [(318, "card swap"), (YEAR_D - 1, "card swap")]
    else:
        days.append((345 + (set_d if set_d <= 2 else 0), "card swap"))
    return days


def year(now: date = DEFAULT_NOW) -> Year:
    """The invented history of the 365 days that end on `now`.

    The same `now` gives the same history. Ice falls in January and a clock is set to summer time in summer;
    the other troubles (a knocked camera, a dying battery) hang on the day of the plan.
    """
    first = now - timedelta(days=YEAR_D)
    ice = next(date(y, *ICE_FROM) for y in (first.year, first.year + 1) if date(y, *ICE_FROM) >= first)
    winter = (ice - first).days
    offset = RESERVE.utc_offset_min
    tz = timezone(timedelta(minutes=offset))

    def instant(day: float, hour: float = 0.0) -> datetime:
        return (datetime.combine(first, time(0), tz) + timedelta(days=day, hours=hour)).astimezone(UTC)

    deployments: list[Deployment] = []
    visits: list[Visit] = []
    cards: list[Card] = []
    for i, (site, serial, height, aim, tilt, heading, set_d, down_d) in enumerate(_PLAN):
        camera = CAMERAS_BY_SERIAL[serial]
        model = MODELS_BY_SLUG[camera.model]
        days = _visit_days(set_d, down_d, late=site in JUST_PULLED and down_d is None)
        at = [instant(d, 8.0 + (i * 1.37) % 8.5) for d, _ in days]
        start, end = at[0], at[-1] if down_d is not None else None
        slug = f"{site}-{start.astimezone(tz).date().isoformat()}"
        spells: list[Spell] = []
        clock = [ClockStep(start, 0.0)]
        found: dict[int, str] = {}
        note: dict[int, str] = {}
        unread: set[int] = set()
        sets: dict[int, float] = {}
        if site == "closed-lane":
            spells.append(Spell("askew", instant(84, 3.4), at[2]))
            found[2], note[2] = (
                "askew",
                "Strap loose, case hanging to one side; straightened, strap tightened.",
            )
        if site == "high-saddle":
            iced = min(max(winter, set_d + 3), YEAR_D - ICE_D - 3)
            spells.append(Spell("ice", instant(iced, 6.0), instant(iced + ICE_D, 13.0)))
            after = [k for k, (d, _) in enumerate(days) if d > iced + ICE_D]
            if after:
                note[after[0]] = "Rime on the housing, window clear now."
        if site == "stone-ford" and down_d is not None:
            spells += [Spell("weak battery", instant(178), instant(204)), Spell("off", instant(204), at[-1])]
            found[len(days) - 1] = "dead"
            note[len(days) - 1] = "No life with fresh cells either; camera taken home, another put up."
            unread.add(len(days) - 1)
        if site == "heron-pool":
            spells.append(Spell("off", instant(186, 21.0), instant(203, 11.0)))
            note[4] = "Working, but NiMH cells were low; changed."
        if site == "hay-stand":
            spells.append(Spell("full card", instant(163, 22.0), at[3]))
            found[3], note[3] = "card full", "Card full; larger card put in."
        if site == "orchard-wall":
            k = max(k for k in range(1, len(days) - 1) if _is_summer_time(at[k]))
            sets[k] = 3600.0  # set by a telephone that showed summer time
            note[k + 1] = "Clock one hour ahead: it had been set to summer time. Put right."
        if site == "scree-foot" and down_d is None:
            reset = datetime(now.year - 3, 1, 1, tzinfo=tz).astimezone(UTC)
            sets[1] = (reset - at[1]).total_seconds()  # cells changed, clock fell back and nobody looked
            note[1] = "Cells changed."
            note[2] = "Clock stood on 1 January: it was not set after the last change of cells. Put right."
        if site == "larkfield-edge":
            sets[6] = 3600.0
            note[7] = "Card pulled for the look-through."
        for k in range(1, len(days)):
            if k in sets:
                clock.append(ClockStep(at[k], sets[k]))
            elif days[k][1] != "take down":
                clock.append(ClockStep(at[k], 0.0))
        deployment = Deployment(
            slug=slug,
            site=site,
            camera=serial,
            start=start,
            end=end,
            utc_offset_min=offset,
            lens_height_m=height,
            aim_distance_m=aim,
            tilt_deg=tilt,
            heading_deg=heading,
            settings=(
                ("burst", str(model.burst)),
                ("burst gap", f"{model.burst_gap_s:g} s"),
                ("rest", f"{model.rearm_s:g} s"),
                ("sensitivity", "high" if site != "high-saddle" else "low"),
                *((("time lapse", "168 h"),) if site in TIME_LAPSE else ()),
            ),
            cells=model.cells,
            clock=tuple(clock),
            spells=tuple(spells),
        )
        deployments.append(deployment)
        # Cards: one from the set-up to the first swap, and so on.
        swaps = [0] + [k for k in range(1, len(days)) if days[k][1] in ("card swap", "take down")]
        names: dict[int, tuple[str | None, str | None]] = {}
        for n, k in enumerate(swaps):
            out = swaps[n + 1] if n + 1 < len(swaps) else None
            name = f"{camera.name.replace(' ', '-')}-{chr(ord('A') + n)}"
            pulled = out is not None and site in JUST_PULLED and days[out][0] == YEAR_D - 1
            if days[k][1] != "take down":
                cards.append(
                    Card(
                        name,
                        slug,
                        32,
                        at[k],
                        at[out] if out is not None else None,
                        f"{serial}-{n + 1}" if out is not None else None,
                        pulled,
                    )
                )
            before = f"{camera.name.replace(' ', '-')}-{chr(ord('A') + n - 1)}" if n else None
            names[k] = (before, None if days[k][1] == "take down" else name)
        for k, (day, kind) in enumerate(days):
            card_out, card_in = names.get(k, (None, None))
            arrival = (
                None
                if k == 0 or k in unread
                else round(deployment.clock_error_s(at[k] - timedelta(minutes=1)))
            )
            changed = k == 0 or (k in (3, 5) and kind != "take down") or note.get(k, "").startswith("Cells")
            since_cells = day - set_d if k < 3 else day - days[min(3, k)][0]
            battery = None if k in unread else 100 if k == 0 else max(20, 96 - since_cells // 3)
            visits.append(
                Visit(
                    deployment=slug,
                    at=at[k],
                    by=TECHNICIANS[(day // 50 + i // 6) % 3],
                    kind=kind,
                    found="—" if k == 0 else found.get(k, "working"),
                    clock_found_s=arrival,
                    clock_set=kind != "take down",
                    battery_pct=battery,
                    card_out=card_out,
                    card_in=card_in,
                    cells_changed=changed,
                    notes=note.get(k, ""),
                )
            )
    visits.sort(key=lambda v: (v.at, v.deployment))
    return Year(now, tuple(deployments), tuple(visits), tuple(cards), _signs(first))


def _signs(first: date) -> tuple[Sign, ...]:
    rng = np.random.default_rng(4711)
    kinds = {
        "red_deer": ("tracks", "scat", "rub", "wallow"),
        "roe_deer": ("tracks", "scrape", "bed"),
        "wild_boar": ("rooting", "tracks", "rub"),
        "red_fox": ("scat", "tracks"),
        "badger": ("latrine", "tracks"),
        "brown_hare": ("tracks", "scat"),
        "grey_wolf": ("tracks", "scat"),
        "lynx": ("tracks", "scat"),
    }
    out = []
    for n in range(34):
        key = list(kinds)[int(rng.integers(len(kinds)))]
        near = [s for s in SITES if key in dict(s.draw)]
        site = near[int(rng.integers(len(near)))]
        what = kinds[key][int(rng.integers(len(kinds[key])))]
        out.append(
            Sign(
                what,
                key,
                round(site.latitude_deg + float(rng.normal(0, 0.0022)), 5),
                round(site.longitude_deg + float(rng.normal(0, 0.0032)), 5),
                first + timedelta(days=int(rng.integers(3, 360))),
                TECHNICIANS[n % 3],
                "in snow" if what == "tracks" and rng.random() < 0.3 else "",
            )
        )
    return tuple(sorted(out, key=lambda s: (s.on, s.kind, s.species)))


def sun_over(site: Site, at: datetime) -> tuple[float, float]:
    """Sun's elevation and bearing over a site, in degrees."""
    return sun(at, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg)


def ledger(now: date = DEFAULT_NOW) -> dict[str, Any]:
    """Everything of the reserve as plain data (str, int, float, bool, None, list, dict), fit for JSON.

    Keys: reserve, people, species, camera_models, cameras, sites, signs, deployments, visits, cards. Times
    are ISO 8601 in UTC, dates ISO. What the demo alone knows (the troubles and the clocks' true errors) is
    left out: a person learns it from the visits and the pictures.
    """
    y = year(now)
    species = [
        {
            "key": s.key,
            "common": s.common,
            "scientific": s.scientific,
            "shoulder_m": s.shoulder_m,
            "length_m": s.length_m,
            "sensitive": s.sensitive,
        }
        for s in SPECIES
    ]
    sites = []
    for s in SITES:
        plain = asdict(s)
        for inner in ("look", "draw", "busy", "dwell", "range_m", "edge_m"):
            plain.pop(inner)
        sites.append(plain)
    deployments = []
    for d in y.deployments:
        plain = asdict(replace(d, clock=(), spells=()))
        plain.pop("clock")
        plain.pop("spells")
        plain["settings"] = dict(d.settings)
        deployments.append(plain)
    cards = []
    for c in y.cards:
        plain = asdict(c)
        cards.append(plain)
    data: dict[str, Any] = {
        "reserve": asdict(RESERVE),
        "people": list(TECHNICIANS),
        "species": species,
        "camera_models": [asdict(m) for m in CAMERA_MODELS],
        "cameras": [{k: v for k, v in asdict(c).items() if k != "drift_s_d"} for c in CAMERAS],
        "sites": sites,
        "signs": [asdict(s) for s in y.signs],
        "deployments": deployments,
        "visits": [asdict(v) for v in y.visits],
        "cards": cards,
    }
    plain_data: dict[str, Any] = _plain(data)
    return plain_data


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    return value
