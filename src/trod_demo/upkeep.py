"""What it takes to keep Eskerwold's cameras: its nights, its lanes and paths, and what to know of each site.

All invented.
"""

from __future__ import annotations

from dataclasses import dataclass

BASE = (47.2818, -16.0948)
"""The ranger's hut, where rounds start: latitude and longitude. [°]"""

NIGHT_MINIMUM_C = (-9.0, -8.0, -4.5, -0.5, 3.5, 7.0, 8.5, 8.0, 5.0, 1.0, -3.5, -7.5)
"""Mean of the nights' minima by month, January first, at the height of most cameras."""

NIGHT_SD_C = (5.0, 5.0, 4.0, 3.5, 3.0, 2.5, 2.5, 2.5, 3.0, 3.5, 4.0, 5.0)
"""How much single nights differ."""

LANES: tuple[tuple[str, str, tuple[tuple[float, float], ...]], ...] = (
    (
        "Valley lane",
        "road",
        (
            (-16.1345, 47.2842), (-16.1171, 47.2836), (-16.1068, 47.2829), (-16.0948, 47.2818), (-16.0854, 47.2822),
            (-16.0762, 47.2827), (-16.0665, 47.2861), (-16.0591, 47.2898),
        ),
    ),
    (
        "Mill path",
        "path",
        (
            (-16.0948, 47.2818), (-16.0979, 47.2853), (-16.1034, 47.2897), (-16.1095, 47.2938), (-16.1267, 47.2966),
            (-16.1214, 47.2999), (-16.1162, 47.3014),
        ),
    ),
    ("Ford path", "path", ((-16.0854, 47.2822), (-16.0869, 47.2848), (-16.0902, 47.2881), (-16.0954, 47.2919))),
    (
        "Saddle path",
        "path",
        (
            (-16.0762, 47.2827), (-16.0781, 47.2889), (-16.0787, 47.2955), (-16.0813, 47.3038), (-16.0799, 47.3127),
            (-16.0803, 47.3187), (-16.0858, 47.3224), (-16.0925, 47.3247), (-16.1019, 47.3212), (-16.1108, 47.3172),
            (-16.1149, 47.3105), (-16.1162, 47.3014),
        ),
    ),
)  # fmt: skip
"""(name, "road" or "path", corners as longitude and latitude)."""


@dataclass(frozen=True)
class SiteNotes:
    """What the technicians know of a site beside its place.

    closed : (first, last, why), days as month-day. offset_m : from the tree to the path. snow_m : usual deepest
    snow by month, January first.
    """

    access: str = ""
    safety: str = ""
    closed: tuple[tuple[str, str, str], ...] = ()
    losses_per_year: float = 0.3
    disturbance_days: float | None = None
    offset_m: float = 4.0
    snow_m: tuple[float, ...] = (0.3, 0.3, 0.2, 0, 0, 0, 0, 0, 0, 0, 0.1, 0.2)


_HIGH_SNOW = (1.1, 1.3, 1.2, 0.8, 0.2, 0, 0, 0, 0, 0.1, 0.4, 0.8)

NOTES: dict[str, SiteNotes] = {
    "alder-track": SiteNotes(access="From the hut up the Mill path, 15 minutes; the alder stands left of the bend."),
    "stone-ford": SiteNotes(
        access="Park at the old sawmill; three minutes down the Ford path.",
        safety="Wet stones, ice from December to March. Do not cross when the gauge stone is under water.",
        losses_per_year=0.6,
    ),
    "grey-lick": SiteNotes(
        access="At the end of the Mill path, behind the fence; close the gate.", disturbance_days=3.0
    ),
    "hay-stand": SiteNotes(
        access="Up the Saddle path, 25 minutes. Go at midday, when the herd lies in the wood.",
        safety="The camera hangs at 3 m: a ladder, a second person to hold it, a strap for the one on it.",
        disturbance_days=4.0,
        offset_m=9.0,
    ),
    "larkfield-edge": SiteNotes(access="From the valley lane along the hedge.", losses_per_year=0.4),
    "high-saddle": SiteNotes(
        access="Saddle path to the top, two hours on foot; no lane.",
        safety="Avalanche slope below the saddle: ask for the day's warning before you go; turn back in fog.",
        losses_per_year=0.5,
        snow_m=_HIGH_SNOW,
    ),
    "closed-lane": SiteNotes(access="On the valley lane, behind the barrier.", losses_per_year=1.0),
    "heron-pool": SiteNotes(access="Mill path, then the boards to the pool.", safety="The boards are slippery."),
    "orchard-wall": SiteNotes(access="Beside the valley lane; ask at the farm.", losses_per_year=0.5),
    "scree-foot": SiteNotes(
        access="From the end of the Mill path up to the scree, 40 minutes.",
        safety="Stones fall in thaw and after rain: helmet, and not in the afternoon sun of spring.",
        snow_m=_HIGH_SNOW,
    ),
    "sett-bank": SiteNotes(
        access="Ford path to the end, then follow the red dots.",
        closed=(("02-01", "05-31", "cubs below map: nobody near the sett"),),
        disturbance_days=5.0,
    ),
    "lynx-gallery": SiteNotes(
        access="Saddle path, then the ledge from the cairn.",
        safety="A drop of 20 m beside the ledge; not alone and not on ice.",
        closed=(("05-15", "07-31", "young in the den"),),
        disturbance_days=5.0,
        snow_m=_HIGH_SNOW,
    ),
}


@dataclass(frozen=True)
class Candidate:
    """A site where no camera stands yet. kind : as `places.Site`. sign : (what, species, days ago) seen there."""

    name: str
    slug: str
    kind: str
    latitude_deg: float
    longitude_deg: float
    slope_deg: float
    path_bearing_deg: float | None
    note: str
    sign: tuple[tuple[str, str, int], ...] = ()
    notes: SiteNotes = SiteNotes()


CANDIDATES: tuple[Candidate, ...] = (
    Candidate(
        "Birch Gap",
        "birch-gap",
        "ridge saddle",
        47.3098,
        -16.0709,
        2.0,
        62.0,
        "A gap between two birches; three trails meet. No camera yet.",
        (("tracks", "red_deer", 9), ("scat", "grey_wolf", 21), ("tracks", "roe_deer", 9)),
        SiteNotes(access="Off the Saddle path at the second bend, 10 minutes through open wood."),
    ),
    Candidate(
        "Moss Wallow",
        "moss-wallow",
        "water hole",
        47.3042,
        -16.0992,
        -1.0,
        None,
        "A wallow under spruces, in use since autumn. No camera yet.",
        (("wallow", "red_deer", 30), ("rooting", "wild_boar", 12)),
        SiteNotes(access="From the Mill path north along the ditch, 20 minutes.", disturbance_days=3.0),
    ),
)


@dataclass(frozen=True)
class Item:
    """Something on the invented stock. count, price : what came in one go, and of one."""

    name: str
    kind: str
    designation: str
    count: int
    price: float
    least: int


STOCK: tuple[Item, ...] = (
    Item("AA lithium", "batteries", "FR6", 240, 1.90, 40),
    Item("AA alkaline", "batteries", "LR6", 40, 0.45, 16),
    Item("AA rechargeable", "batteries", "HR6", 72, 2.60, 16),
    Item("Cards, 32 GB", "cards", "", 12, 7.50, 6),
    Item("Straps", "straps", "", 6, 4.00, 3),
)
CURRENCY, TRAVEL_KM, PRICE_PER_KM = "€", 640.0, 0.42

INCIDENTS: tuple[tuple[str, str, int, str, float], ...] = (
    (
        "stone-ford",
        "fault",
        135,
        "No life with fresh batteries; water had come in past the seal. Sent in for repair.",
        60.0,
    ),
    ("closed-lane", "animal", 246, "Strap chewed through, case hanging; put right, camera unhurt.", 4.0),
)
"""(site, kind, days before the last day, what happened, cost)."""

LOCKS: tuple[tuple[str, str, str, str], ...] = (
    ("green", "cable", "closed-lane", "K 114"),
    ("two dots", "key", "orchard-wall", "K 27"),
)
"""(label, kind, site, invented number of its key)."""
