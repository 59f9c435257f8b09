"""Eskerwold's map: the reserve and its sites. Invented; the point on the map only makes sun and snow likely."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from trod_demo.daylight import sun


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


# The reserve lies where no land is: in the open Atlantic. Its days, clocks and sun are those of 47° north.
RESERVE = Reserve(
    name="Eskerwold",
    slug="eskerwold",
    latitude_deg=47.305,
    longitude_deg=-16.095,
    time_zone="Atlantic/Azores",
    utc_offset_min=-60,
    note="An invented reserve with invented people and cameras. No such place exists; pictures are drawn.",
    boundary=(
        (-16.138, 47.281),
        (-16.099, 47.276),
        (-16.056, 47.284),
        (-16.049, 47.311),
        (-16.072, 47.334),
        (-16.111, 47.337),
        (-16.142, 47.318),
        (-16.138, 47.281),
    ),
)


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
        -16.1039,
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
        -16.0873,
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
        -16.1158,
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
        -16.0784,
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
        -16.0662,
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
        -16.0927,
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
        -16.1171,
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
        -16.1275,
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
        -16.0759,
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
        -16.1113,
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
        -16.0958,
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
        -16.0801,
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


def sun_over(site: Site, at: datetime) -> tuple[float, float]:
    """Sun's elevation and bearing over a site, in degrees."""
    return sun(at, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg)
