"""What to carry on a round, and what to mind on it, in words. All of the advice is common practice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from trod import wording
from trod.planning.visit.kit import FOR_SITES, About, Caution, Group, KitItem, Thing, designation

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
# One of it, and more than one.
COUNTED: Mapping[Thing, tuple[str, str]] = {
    "card": ("empty cards, formatted in the camera they go into", "empty cards, formatted in the camera they go into"),
    "camera": ("camera", "cameras"),
    "wedge": ("wedge", "wedges"),
    "strap": ("strap", "straps"),
    "lock": ("lock", "locks"),
}
# Tools and what people need: the thing, and what it is for.
TOOLS: Mapping[Thing, tuple[str, str]] = {
    "card case": ("case for cards, marked full and empty", "so that none is mixed up"),
    "set clock": ("phone or watch set by the network", "to photograph its time with each camera"),
    "cloth": ("soft cloth and brush", "for lens and sensor window"),
    "shears": ("pruning shears", "for grass and twigs before the sensor, where that is allowed"),
    "tape measure": ("tape measure and level or angle gauge", "to hang it as the set-up sheet says"),
    "walk test marks": ("tape or sticks to mark the walk test", "near and far edge of the zone"),
    "bag for spent batteries": ("bag for spent batteries, poles covered", "all of them come home"),
    "sheet": ("this sheet, and a pencil", "it writes in the wet"),
    "first aid": ("first aid that you are trained to use", ""),
    "call for help": ("a way to call for help that works there", "a mobile phone often does not"),
    "provisions": ("water, food, warm and dry clothes", ""),
    "lamp": ("lamp with fresh batteries", "in case it gets late"),
    "lamp for the dark": ("lamp with fresh batteries", "daylight ends before you do"),
    "bright clothing": ("bright clothing", "firearms season, roads"),
    "spikes": ("spikes or studs for boots, poles", "ice"),
    "avalanche gear": ("avalanche transceiver, probe and shovel where slopes ask for them", "for those trained"),
    "car gear": ("tow rope, shovel, spare wheel", "tracks"),
    "against large animals": (
        "what your area's rules say against large animals",
        "for those allowed and trained",
    ),
    "against heat": ("more water than you think, shade for the head", "heat"),
}
CAUTIONS: Mapping[About, tuple[str, str]] = {
    "tell somebody": (
        "Tell somebody",
        "Before you leave, tell a person your way and when you will be back, and agree on what they do if you are not. "
        "This plan is no duty: turn back while it is easy.",
    ),
    "alone": (
        "Alone",
        "Agree on times to check in, and keep them. Ladders out of reach of help, ice, deep snow and water are not for "
        "one person.",
    ),
    "ladder": (
        "Ladder",
        "Firm level ground, tied or held, three points of contact; look up first for dead wood, wasps and lines. Not in "
        "wind. Higher work is for people trained and equipped for it.",
    ),
    "roads": (
        "Roads",
        "Stop off the road and where you are seen, not on dry grass. Tracks change after rain and frost; the minutes "
        "here are estimates from before.",
    ),
    "roads, ways hidden": (
        "Roads",
        "Stop off the road and where you are seen, not on dry grass. Tracks change after rain and frost.",
    ),
    "dark": ("Dark", "Part of the way is in the dark: know it, or go another day."),
    "dark, hours hidden": (
        "Dark",
        "Whether part of the way is in the dark is left out here: mind the light, take a lamp.",
    ),
    "ice": (
        "Ice",
        "No table makes ice on water safe. Go around unless a qualified local person has checked it that day.",
    ),
    "snow": (
        "Snow",
        "In steep country read the day's avalanche bulletin; a site beyond a loaded slope waits. Batteries give less "
        "and hands are slower in the cold.",
    ),
    "water": (
        "Water",
        "Do not wade fast, deep or unclear water, nor drive into a flooded ford. It may rise by evening.",
    ),
    "large animals": (
        "Large animals",
        "Make yourself heard, look at the last pictures before you walk up, go round young, carcasses and rut.",
    ),
    "firearms season": (
        "Firearms season",
        "Ask who is out that day, wear what the rules ask for, keep away from drives and high seats in use, and from "
        "dusk and dawn.",
    ),
    "heat": ("Heat", "Start early, drink before you are thirsty, and shorten the round."),
    "at the site": ("At the site", ""),
    "who is right": (
        "Who is right",
        "This is common practice, not instruction. Where your law, permit, employer's rule or a qualified person says "
        "otherwise, they are right.",
    ),
}


@dataclass(frozen=True, kw_only=True)
class KitTold:
    """One line of the list as it is told: number in all, spare of it, and why."""

    group: Group
    what: str
    number: int
    spare: int = 0
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class CautionTold:
    """One thing to mind as it is told. about : in a word or two. sites : where, empty for everywhere."""

    about: str
    words: str
    sites: tuple[str, ...] = ()


def battery_name(word: str) -> str:
    """A battery by its designation and, where it is known, by what shops call it: 'LR6 (AA alkaline)'.

    Raises WrongInput for what is not a designation of the IEC's kind.
    """
    told = designation(word)
    return f"{told} ({BATTERY_NAMES[told]})" if told in BATTERY_NAMES else told


def item(one: KitItem) -> KitTold:
    """One line of the list."""
    if one.thing in TOOLS:
        what, why = TOOLS[one.thing]
    else:
        what, why = _what(one), _why(one)
    return KitTold(group=one.group, what=what, number=one.number, spare=one.spare, why=why)


def items(kit: Sequence[KitItem]) -> tuple[KitTold, ...]:
    """All lines of the list."""
    return tuple(item(one) for one in kit)


def _what(one: KitItem) -> str:
    if one.thing == "batteries":
        return f"batteries {battery_name(one.name)}"
    if one.thing in COUNTED:
        return COUNTED[one.thing][one.number > 1]
    return {"key": f"key {one.name}", "ladder": "ladder"}.get(one.thing, one.name)


def _why(one: KitItem) -> str:
    parts = [wording.plural(one.sites, "site")] if one.sites else []
    parts += [f"{one.spare} spare by risk"] if one.spare else []
    return ", ".join(parts)


def short(kit: Sequence[KitItem]) -> str:
    """What goes to the sites, in a few words: '8 LR6, 9 cards, ladder'."""
    return ", ".join(_short(one) for one in kit if one.group in FOR_SITES) or "nothing for the sites"


def _short(one: KitItem) -> str:
    if one.thing in ("ladder", "key") and one.number == 1:
        return _what(one)
    if one.thing == "batteries":
        return f"{one.number} {one.name}"
    return (
        f"{one.number} {'cards' if one.number > 1 else 'card'}" if one.thing == "card" else f"{one.number} {_what(one)}"
    )


def caution(one: Caution) -> CautionTold:
    """One thing to mind."""
    about, words = CAUTIONS[one.about]
    return CautionTold(about=about, words=one.said or words, sites=one.sites)


def cautions(found: Sequence[Caution]) -> tuple[CautionTold, ...]:
    """All there is to mind."""
    return tuple(caution(one) for one in found)
