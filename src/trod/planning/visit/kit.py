"""What to put in the car for a round, and what to mind on it.

What each site wants comes in; how many spares a round needs by risk comes in as numbers (`trod.planning.visit.spares`
works them out). All of the advice here is common practice. It knows neither the ground on the day nor the law, and
gives way to local law, licence, employer's rule and a qualified person.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from trod import wording
from trod.errors import WrongInput

# Designations of IEC 60086-1 and -2 (primary batteries) and IEC 61951-2 (nickel-metal hydride), with what shops call
# them; from memory.
BATTERY_NAMES: Mapping[str, str] = {
    "LR6": "AA alkaline",
    "FR6": "AA lithium",
    "HR6": "AA rechargeable",
    "LR03": "AAA alkaline",
    "FR03": "AAA lithium",
    "HR03": "AAA rechargeable",
    "LR14": "C alkaline",
    "HR14": "C rechargeable",
    "LR20": "D alkaline",
    "HR20": "D rechargeable",
    "6LR61": "9 V alkaline",
    "CR17345": "3 V lithium",
}
# [number of batteries][chemistry]R[size]: 6LR61, FR6, CR17345; R6 alone is zinc-carbon. Also FR14505 and the like.
_DESIGNATION = re.compile(r"\d{0,2}[A-Z]{0,3}R\d{1,5}(/\d{1,5})?")

Group = Literal["power and cards", "for the sites", "for the work", "for the people"]
GROUPS: tuple[Group, ...] = ("power and cards", "for the sites", "for the work", "for the people")


def battery_name(designation: str) -> str:
    """A battery by its designation and, where it is known, by what shops call it: 'LR6 (AA alkaline)'.

    Raises WrongInput for what is not a designation of the IEC's kind.
    """
    told = designation.strip().upper()
    if not _DESIGNATION.fullmatch(told):
        raise WrongInput("battery", got=designation, needed="a designation such as LR6, FR6 or HR6, as printed on it")
    return f"{told} ({BATTERY_NAMES[told]})" if told in BATTERY_NAMES else told


@dataclass(frozen=True, kw_only=True)
class Wants:
    """What one site wants on this visit.

    site : its name. batteries : fresh ones, by designation. cards : empty ones to leave there. cameras : to exchange.
    wedges, straps, locks : to put up. keys : labels of the keys that open what hangs there. ladder : needed.
    walk_test : the aim is to be tried. other : anything else, in words.
    """

    site: str
    batteries: Mapping[str, int] = field(default_factory=dict)
    cards: int = 1
    cameras: int = 0
    wedges: int = 0
    straps: int = 0
    locks: int = 0
    keys: tuple[str, ...] = ()
    ladder: bool = False
    walk_test: bool = False
    other: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        numbers = {f"batteries {k}": v for k, v in self.batteries.items()}
        numbers |= {n: getattr(self, n) for n in ("cards", "cameras", "wedges", "straps", "locks")}
        for what, number in numbers.items():
            if not (isinstance(number, int) and 0 <= number <= 1000):
                raise WrongInput(f"{what} at {self.site!r}", got=number, needed="a whole number from 0 to 1000")


@dataclass(frozen=True, kw_only=True)
class KitItem:
    """One line of the list: number in all, spare of it, and why."""

    group: Group
    what: str
    number: int
    spare: int = 0
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class Going:
    """How people go and what the day is like, as far as it is known.

    alone : at least one party is a single person. The rest: true when it may be met with on this round.
    """

    alone: bool = False
    by_car: bool = False
    dark: bool = False
    ice: bool = False
    snow: bool = False
    water: bool = False
    large_animals: bool = False
    firearms_season: bool = False
    heat: bool = False


@dataclass(frozen=True, kw_only=True)
class Caution:
    """One thing to mind. about : in a word or two. words : common practice. sites : where, empty for everywhere."""

    about: str
    words: str
    sites: tuple[str, ...] = ()


def kit_list(wants: Sequence[Wants], *, spares: Mapping[str, int] | None = None, going: Going | None = None) -> (
    tuple[KitItem, ...]
):  # fmt: skip
    """The list to pack by.

    spares : what to carry beyond the sites' wants, by designation of a battery, "card", "camera", "wedge", "strap" or
    "lock". Raises WrongInput for a spare of a thing that it does not know, and for what is not a number of things.
    """
    going = going or Going()
    spares = dict(spares or {})
    for what, number in spares.items():
        if not (isinstance(number, int) and 0 <= number <= 10_000):
            raise WrongInput(f"spares of {what!r}", got=number, needed="a whole number from 0 to 10 000")
    items: list[KitItem] = []

    def add(group: Group, what: str, wanted: int, spare: int, sites: int, none_why: str = "") -> None:
        if wanted + spare:
            parts = [wording.plural(sites, "site")] if wanted else [none_why] if none_why else []
            if spare:
                parts.append(f"{spare} spare by risk")
            items.append(
                KitItem(group=group, what=what, number=wanted + spare, spare=spare, why=", ".join(p for p in parts if p))
            )

    batteries: Counter[str] = Counter()
    sites_of: Counter[str] = Counter()
    for want in wants:
        for designation, number in want.batteries.items():
            kind = designation.strip().upper()
            battery_name(kind)
            batteries[kind] += number
            sites_of[kind] += 1 if number else 0
    known = {"card": "cards", "camera": "cameras", "wedge": "wedges", "strap": "straps", "lock": "locks"}
    for what in spares:
        if what not in known:
            battery_name(what)
            batteries[what.strip().upper()] += 0
    for kind in sorted(batteries):
        spare = sum(n for what, n in spares.items() if what not in known and what.strip().upper() == kind)
        add("power and cards", f"batteries {battery_name(kind)}", batteries[kind], spare, sites_of[kind])
    for one, many in known.items():
        number = sum(getattr(want, many) for want in wants)
        sites = sum(1 for want in wants if getattr(want, many))
        group: Group = "power and cards" if one in ("card", "camera") else "for the sites"
        what = (
            "empty cards, formatted in the camera they go into"
            if one == "card"
            else many
            if number + spares.get(one, 0) > 1
            else one
        )
        add(group, what, number, spares.get(one, 0), sites)
    keys = Counter(key for want in wants for key in want.keys)
    for key in sorted(keys):
        items.append(KitItem(group="for the sites", what=f"key {key}", number=1, why=_sites(keys[key])))
    ladders = [want.site for want in wants if want.ladder]
    if ladders:
        items.append(KitItem(group="for the sites", what="ladder", number=1, why=_sites(len(ladders))))
    for thing, number in sorted(Counter(thing for want in wants for thing in want.other).items()):
        items.append(KitItem(group="for the sites", what=thing, number=number, why=_sites(number)))
    items += _work(wants, renewed=bool(batteries))
    items += _people(going)
    return tuple(sorted(items, key=lambda item: GROUPS.index(item.group)))


def _sites(number: int) -> str:
    return wording.plural(number, "site")


def _work(wants: Sequence[Wants], *, renewed: bool) -> list[KitItem]:
    """Tools for the visits, one of each."""
    found = [
        ("case for cards, marked full and empty", "so that none is mixed up", bool(wants)),
        ("phone or watch set by the network", "to photograph its time with each camera", bool(wants)),
        ("soft cloth and brush", "for lens and sensor window", bool(wants)),
        ("pruning shears", "for grass and twigs before the sensor, where that is allowed", bool(wants)),
        (
            "tape measure and level or angle gauge",
            "to hang it as the set-up sheet says",
            any(w.walk_test for w in wants),
        ),
        ("tape or sticks to mark the walk test", "near and far edge of the zone", any(w.walk_test for w in wants)),
        ("bag for spent batteries, poles covered", "all of them come home", renewed),
        ("this sheet, and a pencil", "it writes in the wet", True),
    ]
    return [KitItem(group="for the work", what=what, number=1, why=why) for what, why, needed in found if needed]


def _people(going: Going) -> list[KitItem]:
    """For coming home well."""
    found = [
        ("first aid that you are trained to use", "", True),
        ("a way to call for help that works there", "a mobile phone often does not", True),
        ("water, food, warm and dry clothes", "", True),
        ("lamp with fresh batteries", "daylight ends before you do" if going.dark else "in case it gets late", True),
        ("bright clothing", "firearms season, roads", going.firearms_season or going.by_car),
        ("spikes or studs for boots, poles", "ice", going.ice),
        ("avalanche transceiver, probe and shovel where slopes ask for them", "for those trained", going.snow),
        ("tow rope, shovel, spare wheel", "tracks", going.by_car),
        ("what your area's rules say against large animals", "for those allowed and trained", going.large_animals),
        ("more water than you think, shade for the head", "heat", going.heat),
    ]
    return [KitItem(group="for the people", what=what, number=1, why=why) for what, why, needed in found if needed]


def cautions(going: Going, *, ladder_sites: Sequence[str] = (), told: Mapping[str, str] | None = None) -> (
    tuple[Caution, ...]
):  # fmt: skip
    """What to mind on this round, the general first.

    ladder_sites : sites where something hangs out of reach. told : cautions that people wrote for a site, by its name.
    """
    found = [
        Caution(
            about="Tell somebody",
            words="Before you leave, tell a person your way and when you will be back, and agree on what they do if "
            "you are not. This plan is no duty: turn back while it is easy.",
        )
    ]

    def add(when: bool, about: str, words: str, sites: Sequence[str] = ()) -> None:
        if when:
            found.append(Caution(about=about, words=words, sites=tuple(sites)))

    add(
        going.alone,
        "Alone",
        "Agree on times to check in, and keep them. Ladders out of reach of help, ice, deep snow and water are not for "
        "one person.",
    )
    add(
        bool(ladder_sites),
        "Ladder",
        "Firm level ground, tied or held, three points of contact; look up first for dead wood, wasps and lines. Not "
        "in wind. Higher work is for people trained and equipped for it.",
        ladder_sites,
    )
    add(
        going.by_car,
        "Roads",
        "Stop off the road and where you are seen, not on dry grass. Tracks change after rain and frost; the minutes "
        "here are estimates from before.",
    )
    add(going.dark, "Dark", "Part of the way is in the dark: know it, or go another day.")
    add(
        going.ice,
        "Ice",
        "No table makes ice on water safe. Go around unless a qualified local person has checked it that day.",
    )
    add(
        going.snow,
        "Snow",
        "In steep country read the day's avalanche bulletin; a site beyond a loaded slope waits. Batteries give less and "  # noqa: E501
        "hands are slower in the cold.",
    )
    add(
        going.water,
        "Water",
        "Do not wade fast, deep or unclear water, nor drive into a flooded ford. It may rise by evening.",
    )
    add(
        going.large_animals,
        "Large animals",
        "Make yourself heard, look at the last pictures before you walk up, go round young, carcasses and rut.",
    )
    add(
        going.firearms_season,
        "Firearms season",
        "Ask who is out that day, wear what the rules ask for, keep away from drives and high seats in use, and from "
        "dusk and dawn.",
    )
    add(going.heat, "Heat", "Start early, drink before you are thirsty, and shorten the round.")
    for site, words in sorted((told or {}).items()):
        add(bool(words.strip()), "At the site", words.strip(), (site,))
    found.append(
        Caution(
            about="Who is right",
            words="This is common practice, not instruction. Where your law, permit, employer's rule or a qualified "
            "person says otherwise, they are right.",
        )
    )
    return tuple(found)
