"""A planned round in words: what it brings, and why a stop was left out."""

from __future__ import annotations

import math

from trod import wording
from trod.errors import WrongInput
from trod.planning.visit.byhand import Doubt
from trod.planning.visit.rounds import DAY_MIN, SHUT, CannotBeVisited, LeftOut, LeftWhy, RoundPlan, Span
from trod.telling import ways
from trod.telling.measures import figure
from trod.units import System, scale

OWN_CHOICE: tuple[LeftWhy, ...] = ("you left it out", "you named others", "not in your order")
OWN_SEARCH = "Ordered by Trod's own search; the extra route finds somewhat shorter ways."


def is_shut(plan: RoundPlan) -> bool:
    """Whether no stop can be gone to, whatever it is worth."""
    return not plan.stops and bool(plan.left_out) and all(one.why in SHUT for one in plan.left_out)


def sentence(plan: RoundPlan, system: System) -> str:
    """What a round brings."""
    left = len(plan.left_out)
    if not plan.stops:
        if is_shut(plan):
            return "No stop can be gone to on these days: each is closed, or no way leads there in time."
        return "No stop is worth going to on these days." if left else "There is no stop to go to."
    stops = wording.plural(plan.stops, "stop")
    saves = days(plan.saves_days)
    if plan.scope == "in your order":
        return f"{stops} in the order you chose save about {saves}."
    if plan.scope == "as many as fit":
        waiting = sum(one.why not in OWN_CHOICE for one in plan.left_out)
        wait = f" {wording.capital(wording.plural(waiting, 'site'))} must wait." if waiting else ""
        return f"{stops}, as many as there is room for, save about {saves}.{wait}"
    used = wording.plural(len({trip.day for trip in plan.trips}), "day")
    away = hours(sum((trip.home - trip.leave).total_seconds() / 60 for trip in plan.trips))
    lengths = way_lengths(
        walk_m=sum(trip.walk_m for trip in plan.trips), drive_m=sum(trip.drive_m for trip in plan.trips), system=system
    )
    wait = f"; {left} {'is' if left == 1 else 'are'} left for another time" if left else ""
    search = f" {OWN_SEARCH}" if plan.searcher == "own" else ""
    return f"{stops} on {used}, {away} away in all with {lengths}, save about {saves}{wait}.{search}"


def way_lengths(*, walk_m: float, drive_m: float, system: System) -> str:
    """How far on foot and by car."""
    shown = scale("km", system)
    walked, driven = shown.from_stored(walk_m / 1000), shown.from_stored(drive_m / 1000)
    parts = [f"{walked:.1f} {shown.sign} on foot"] if walked >= 0.05 else ["hardly a step on foot"]
    parts += [f"{driven:.0f} {shown.sign} by car"] if driven >= 0.5 else []
    return " and ".join(parts)


def left_out(one: LeftOut, system: System) -> str:
    """Why a stop was left out, a clause."""
    load = scale("kg", system)
    on = "that day" if one.number == 1 else "all the days"
    return {
        "you left it out": "you left it out",
        "you named others": "you named others",
        "not in your order": "it is not in the order you chose",
        "saves nothing": "a visit saves no camera-day",
        "no room beside better": "no room is left for it on these days beside the stops that save more",
        "no room": "no room is left for it on these days",
        "costs more": f"it would take {hours(one.more_min or 0)} more and save {days(one.saves_days)}",
        "no access": "there is no access" + (f": {ways.no_way(one.no_way, system)}" if one.no_way is not None else ""),
        "far away": f"there is no access: it would take {one.number:,.0f} days",
        "closed": f"closed on {on}: {one.detail}",
        "hours too short": "the hours in which one may be there leave no room for the visit in daylight",
        "people": f"it takes {one.number:.0f} people together",
        "load": f"its load of {figure(load.from_stored(one.number))} {load.sign} is more than anyone carries",
        "too long a way": f"the way out, {hours(one.number)}, the visit and the way back do not fit into a day",
    }[one.why]


def refused(trouble: CannotBeVisited, system: System) -> WrongInput:
    """A stop that must be visited and cannot be, with the reason in the reader's units."""
    return WrongInput(trouble.what, got=left_out(trouble.left, system), needed=trouble.needed)


def doubt(one: Doubt, system: System) -> str:
    """What does not fit in an order that a person chose, a sentence."""
    load = scale("kg", system)
    carried, most = (wording.trimmed(load.from_stored(kg)) for kg in (one.number, one.most))
    return {
        "closed": f"{one.name} is closed that day: {one.detail or 'closed'}.",
        "dark": f"{one.name}: it is dark before the visit is done ({clock(one.at_min)}).",
        "hours over": f"{one.name}: one may be there until {clock(one.until_min)} only.",
        "people": f"{one.name} takes {one.number:.0f} people together.",
        "home late": f"{one.name} would be back at {clock(one.at_min)}, after {clock(one.until_min)}.",
        "little rest": f"{one.name} would be back at {clock(one.at_min)}, with less than {one.number:.0f} minutes kept "
        "free.",
        "load": f"{one.name} would carry {carried} {load.sign}, more than {most} {load.sign}.",
    }[one.why]


def light(span: Span) -> str:
    """Between when it is light enough to go."""
    return f"light from {clock(span.from_min)} to {clock(span.to_min)}"


def clock(minutes: float) -> str:
    """Minutes after midnight as a time; past midnight it says so."""
    whole = round(minutes)
    over = " the next day" if whole >= DAY_MIN else ""
    return f"{whole // 60 % 24}:{whole % 60:02d}{over}"


def hours(minutes: float) -> str:
    """Minutes of a way or a visit, never less than one."""
    return wording.lasting(60 * max(1, minutes))


def days(days: float) -> str:
    """'0.4 camera-days', '12 camera-days': two digits."""
    if days < 0.05:
        return "hardly a camera-day" if days > 0 else "no camera-day"
    digits = max(0, 1 - math.floor(math.log10(days)))
    shown = f"{round(days, digits):.{digits}f}"
    shown = shown.rstrip("0").rstrip(".") if "." in shown else shown
    return f"{shown} camera-day{'' if shown == '1' else 's'}"
