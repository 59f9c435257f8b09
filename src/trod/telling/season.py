"""Why a place promises much or little in a month, in words."""

from __future__ import annotations

from collections.abc import Sequence

from trod import units, wording
from trod.planning.ground.site import Feature
from trod.planning.place.adviser import Aim
from trod.planning.place.season import Candidate, Find, Part
from trod.telling.settings import AIMS
from trod.units import System

# By feature, in the order of `season.DRAWS`.
DRAWS: dict[Feature, tuple[str, ...]] = {
    "water": (
        "water draws animals in the dry and warm months",
        "water still draws some animals",
    ),
    "feeding": ("animals come to fodder in winter",),
    "lick": (
        "minerals are sought in spring and early summer, when antlers and milk need them",
        "licks are still visited",
    ),
    "saddle": ("animals cross here when they move between summer and winter ground",),
    "ford": ("animals cross here when they move between summer and winter ground",),
    "meadow": (
        "fresh grass draws grazers",
        "the rut brings deer into the open",
    ),
    "trail": ("a used trail carries animals all year",),
    "road": ("large carnivores and others walk closed roads all year",),
    "fence": ("a gap gathers those who pass",),
    "den": ("young that left in summer show use of a den",),
    "other": (),
}
ANSWERS: dict[Feature, dict[Aim, str]] = {
    "trail": {
        "species": "many kinds use one trail",
        "hours": "animals pass here without staying",
        "individuals": "they pass close by and from the side",
        "people": "people walk trails too",
    },
    "road": {
        "species": "some kinds keep to roads and others shun them",
        "hours": "animals pass here",
        "individuals": "they pass close by and from the side",
        "people": "vehicles and walkers come this way",
    },
    "water": {
        "species": "nearly all kinds drink",
        "behaviour": "they stay a while",
        "hours": "drinking hours are not walking hours",
    },
    "ford": {"species": "animals cross here", "hours": "animals pass here"},
    "lick": {
        "composition": "they stay, heads up, in the open",
        "individuals": "they stay and turn",
        "species": "few kinds come for minerals",
        "behaviour": "they stay a while",
    },
    "feeding": {
        "herd": "the herd gathers and stays",
        "composition": "the herd gathers and stays",
        "behaviour": "they stay a while",
        "individuals": "they stay and turn, but hide one another",
    },
    "meadow": {
        "herd": "groups graze in the open",
        "composition": "groups graze in the open",
        "behaviour": "they stay a while",
        "hours": "grazing hours",
    },
    "saddle": {"species": "ways from both sides meet", "hours": "animals pass here"},
    "den": {"behaviour": "family life shows", "individuals": "residents come again and again"},
    "fence": {
        "species": "all that pass come through one gap",
        "individuals": "they pass one by one, close by",
        "people": "people use gaps too",
    },
    "other": {},
}
MINDED = {
    "closed": "Closed in {month}: do not go.",
    "den": "A den: not while young are inside, and only with the permit that the law asks for.",
    "feeding permit": "Feeding, baiting and salt are forbidden or need a permit in many places: ask first.",
    "sensitive": "A sensitive site: give its true place to nobody.",
}


def part(one: Part, system: System) -> str:
    """Some points and what for, a clause that stands alone."""
    if one.why == "draws":
        return f"{wording.MONTHS[one.month - 1]}: {reason(one, system)}"
    return f"answers the question: {reason(one, system)}" if one.why == "answers" else reason(one, system)


def reason(one: Part, system: System) -> str:
    """The same where month and question are said already."""
    month = wording.MONTHS[one.month - 1]
    if one.why == "draws":
        return DRAWS[one.feature][one.draw]
    if one.why == "answers" and one.aim is not None:
        return ANSWERS[one.feature][one.aim]
    if one.find is not None:
        return find(one.find, system)
    if one.came is not None:
        days = f"{one.came.camera_days:.0f} camera-days of {month}"
        if not one.came.sequences:
            return f"no {one.came.what} in {days}"
        times = "1 sequence" if one.came.sequences == 1 else f"{one.came.sequences} sequences"
        return f"{times} with {one.came.what} in {days}"
    return {
        "says little": "says little about this question",
        "watched": "a camera stands here already",
        "far on foot": f"{one.walk_min:.0f} min on foot",
        "closed": f"closed in {month}",
    }[one.why]


def find(of: Find, system: System) -> str:
    """A sign that was seen near."""
    sign = of.sign
    what = f"{sign.kind} of {sign.species}" if sign.species else str(sign.kind)
    if of.again:
        when = f" at this time of year, {sign.seen_on:%Y}"
    else:
        when = {0: ", today", 1: ", 1 day ago"}.get(of.age_days, f", {of.age_days} days ago")
    unknown = " (species unknown)" if of.any_species else ""
    shown = units.scale("m", system)
    away = round(shown.from_stored(of.away_m), -1)
    return f"{what}{when}{unknown}, {f'about {away:.0f} {shown.sign} away' if away else 'right there'}"


def minded(one: Candidate) -> tuple[str, ...]:
    """What to mind before going."""
    return tuple(MINDED[key].format(month=wording.MONTHS[one.month - 1]) for key in one.minded)


def answers(one: Candidate) -> list[tuple[str, str]]:
    """(question, why a camera there answers it), best first."""
    return [(AIMS[aim], ANSWERS[one.place.feature][aim]) for aim in one.answers]


def sentence(found: Sequence[Candidate], month: int, aim: Aim | None, species: str, system: System) -> str:
    """The most promising place that is open, what speaks for it, and the best one without a camera."""
    name = wording.MONTHS[month - 1]
    asked = (f" to tell {AIMS[aim]}" if aim else "") + (f" of {species}" if species and aim != "people" else "")
    open_ = [c for c in found if month not in c.place.closed]
    if not open_:
        return f"No site is open in {name}."
    best = open_[0]
    reasons = _reasons(best, system)
    if (best.points <= 0 and not best.place.watched) or not reasons:
        return f"Nothing speaks for any site in {name}{asked}."
    if not best.place.watched:
        return f"In {name}{asked} {best.place.name} promises most: {reasons}."
    free = next((c for c in open_ if not c.place.watched), None)
    if free is None:
        others = "No open site is without a camera."
    elif free.points <= 0:
        others = "Nothing speaks for a site without one."
    else:
        others = f"Of those without one, {free.place.name}: {_reasons(free, system)}."
    return f"In {name}{asked} {best.place.name} promises most, and a camera already stands there: {reasons}. {others}"


def _reasons(one: Candidate, system: System) -> str:
    """The two parts that give most."""
    top = sorted((p for p in one.parts if p.points > 0), key=lambda p: -p.points)[:2]
    return "; ".join(reason(p, system) for p in top)
