"""What to put in the car for a round, and what to mind on it.

What each site wants comes in; how many spares a round needs by risk comes in as numbers (`trod.planning.visit.spares`
works them out). All of the advice here is common practice. It knows neither the ground on the day nor the law, and
gives way to local law, licence, employer's rule and a qualified person. `trod.telling.kit` words it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from trod.errors import WrongInput

# [number of batteries][chemistry]R[size]: 6LR61, FR6, CR17345; R6 alone is zinc-carbon. Also FR14505 and the like.
_DESIGNATION = re.compile(r"\d{0,2}[A-Z]{0,3}R\d{1,5}(/\d{1,5})?")

Group = Literal["power and cards", "for the sites", "for the work", "for the people"]
GROUPS: tuple[Group, ...] = ("power and cards", "for the sites", "for the work", "for the people")
FOR_SITES: tuple[Group, ...] = GROUPS[:2]  # the rest follows from how long and how far the trip is

Wanted = Literal["batteries", "card", "camera", "wedge", "strap", "lock", "key", "ladder", "other"]
ForWork = Literal[
    "card case", "set clock", "cloth", "shears", "tape measure", "walk test marks", "bag for spent batteries", "sheet"
]
ForPeople = Literal[
    "first aid", "call for help", "provisions", "lamp", "lamp for the dark", "bright clothing", "spikes",
    "avalanche gear", "car gear", "against large animals", "against heat",
]  # fmt: skip
Thing = Wanted | ForWork | ForPeople
_COUNTED: Mapping[Wanted, str] = {
    "card": "cards", "camera": "cameras", "wedge": "wedges", "strap": "straps", "lock": "locks",
}  # fmt: skip


def designation(word: str) -> str:
    """A battery's designation of the IEC's kind, such as LR6, as printed on it. Raises WrongInput for what is none."""
    told = word.strip().upper()
    if not _DESIGNATION.fullmatch(told):
        raise WrongInput("battery", got=word, needed="a designation such as LR6, FR6 or HR6, as printed on it")
    return told


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
    """One line of the list: number in all, spare of it, how many sites want it.

    name : of batteries their designation, of a key its label, of another thing what somebody called it; else empty.
    """

    group: Group
    thing: Thing
    name: str = ""
    number: int = 1
    spare: int = 0
    sites: int = 0


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


About = Literal[
    "tell somebody", "alone", "ladder", "roads", "dark", "ice", "snow", "water", "large animals", "firearms season",
    "heat", "at the site", "who is right", "roads, ways hidden", "dark, hours hidden",
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Caution:
    """One thing to mind. sites : where, empty for everywhere. said : what somebody wrote for that site."""

    about: About
    sites: tuple[str, ...] = ()
    said: str = ""


def kit_list(
    wants: Sequence[Wants], *, spares: Mapping[str, int] | None = None, going: Going | None = None
) -> tuple[KitItem, ...]:
    """The list to pack by.

    spares : what to carry beyond the sites' wants, by designation of a battery, "card", "camera", "wedge", "strap" or
    "lock". Raises WrongInput for a spare of a thing that it does not know, and for what is not a number of things.
    """
    spares = dict(spares or {})
    for what, number in spares.items():
        if not (isinstance(number, int) and 0 <= number <= 10_000):
            raise WrongInput(f"spares of {what!r}", got=number, needed="a whole number from 0 to 10 000")
    items = [*_batteries(wants, spares), *_counted(wants, spares)]
    keys = Counter(key for want in wants for key in want.keys)
    items += [KitItem(group="for the sites", thing="key", name=key, sites=keys[key]) for key in sorted(keys)]
    if ladders := sum(want.ladder for want in wants):
        items.append(KitItem(group="for the sites", thing="ladder", sites=ladders))
    for name, number in sorted(Counter(name for want in wants for name in want.other).items()):
        items.append(KitItem(group="for the sites", thing="other", name=name, number=number, sites=number))
    renewed = any(item.thing == "batteries" for item in items)
    items += [KitItem(group="for the work", thing=thing) for thing in _work(wants, renewed=renewed)]
    items += [KitItem(group="for the people", thing=thing) for thing in _people(going or Going())]
    return tuple(sorted(items, key=lambda item: GROUPS.index(item.group)))


def _batteries(wants: Sequence[Wants], spares: Mapping[str, int]) -> Iterable[KitItem]:
    """Batteries by kind; a spare of a kind that no site wants is carried all the same."""
    number: Counter[str] = Counter()
    spare: Counter[str] = Counter()
    sites: Counter[str] = Counter()
    for want in wants:
        for word, many in want.batteries.items():
            kind = designation(word)
            number[kind] += many
            sites[kind] += 1 if many else 0
    for word, many in spares.items():
        if word not in _COUNTED:
            spare[designation(word)] += many
    for kind in sorted({*number, *spare}):
        whole = number[kind] + spare[kind]
        if whole:
            yield KitItem(
                group="power and cards", thing="batteries", name=kind, number=whole, spare=spare[kind], sites=sites[kind]
            )


def _counted(wants: Sequence[Wants], spares: Mapping[str, int]) -> Iterable[KitItem]:
    """Cards, cameras and what hangs them."""
    for thing, many in _COUNTED.items():
        number, spare = sum(getattr(want, many) for want in wants), spares.get(thing, 0)
        if number + spare:
            yield KitItem(
                group="power and cards" if thing in ("card", "camera") else "for the sites",
                thing=thing,
                number=number + spare,
                spare=spare,
                sites=sum(1 for want in wants if getattr(want, many)),
            )


def _work(wants: Sequence[Wants], *, renewed: bool) -> Iterable[ForWork]:
    """Tools for the visits, one of each."""
    tried = any(want.walk_test for want in wants)
    if wants:
        yield from ("card case", "set clock", "cloth", "shears")
    if tried:
        yield from ("tape measure", "walk test marks")
    if renewed:
        yield "bag for spent batteries"
    yield "sheet"


def _people(going: Going) -> Iterable[ForPeople]:
    """For coming home well."""
    yield from ("first aid", "call for help", "provisions")
    yield "lamp for the dark" if going.dark else "lamp"
    found: tuple[tuple[ForPeople, bool], ...] = (
        ("bright clothing", going.firearms_season or going.by_car),
        ("spikes", going.ice),
        ("avalanche gear", going.snow),
        ("car gear", going.by_car),
        ("against large animals", going.large_animals),
        ("against heat", going.heat),
    )
    yield from (thing for thing, needed in found if needed)


def cautions(
    going: Going, *, ladder_sites: Sequence[str] = (), told: Mapping[str, str] | None = None
) -> tuple[Caution, ...]:
    """What to mind on this round, the general first.

    ladder_sites : sites where something hangs out of reach. told : cautions that people wrote for a site, by its name.
    """
    met: tuple[tuple[About, bool], ...] = (
        ("roads", going.by_car),
        ("dark", going.dark),
        ("ice", going.ice),
        ("snow", going.snow),
        ("water", going.water),
        ("large animals", going.large_animals),
        ("firearms season", going.firearms_season),
        ("heat", going.heat),
    )
    found = [Caution(about="tell somebody")]
    if going.alone:
        found.append(Caution(about="alone"))
    if ladder_sites:
        found.append(Caution(about="ladder", sites=tuple(ladder_sites)))
    found += [Caution(about=about) for about, holds in met if holds]
    for site, words in sorted((told or {}).items()):
        if words.strip():
            found.append(Caution(about="at the site", sites=(site,), said=words.strip()))
    return (*found, Caution(about="who is right"))
