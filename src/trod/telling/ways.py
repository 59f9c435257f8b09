"""How ways were worked out and what was taken for them, and why no way leads to a place."""

from __future__ import annotations

from trod import wording
from trod.errors import WrongInput
from trod.planning.visit.travel import HowGone, NoWay, Supposed, WayShare
from trod.telling.measures import way, wheels
from trod.units import System, scale

HOUR_UP_M = 600.0  # of climb for an hour more on foot; common practice
OF_THIS = {"tracks": "them", "straight lines": "it", "across country": "it"}


def how(found: HowGone, system: System) -> str:
    """How ways were worked out, a clause."""
    return f"{_way_of(found, system)}{_slope(found)}"


def _way_of(found: HowGone, system: System) -> str:
    speed = wheels(found.drive_kmh, system)
    if found.along == "tracks":
        walked = "on foot along the tracks, and across country from the track to the site"
        return f"by car at {speed} where a track has no speed of its own, and {walked}" if found.by_car else walked
    if found.along == "across country":
        return "on foot across country in straight lines"
    if found.by_car:
        longer = f"lengthened by {found.detour:g}, at {speed}"
        return f"by car along the straight line, {longer}, and on foot from the car to each site"
    return f"on foot by the straight line, lengthened by {found.detour:g}"


def _slope(found: HowGone) -> str:
    """What is known of the slope, and what of the ground between is not."""
    if found.heights == "typed":
        number = "one site" if found.typed == 1 else f"{found.typed} sites"
        return f"; the climb as typed for {number}, level elsewhere"
    if found.heights == "level":
        if found.along == "tracks":
            return ", as if level"
        return "" if found.by_car else ", as if on a level path"
    words = ", by the slope"
    if found.along == "across country":
        words += "; cliffs, water and thickets on the line are not known"
    if found.unknown_share > 0:
        share = max(1, round(100 * found.unknown_share))
        words += f"; heights are unknown on {share} % of {OF_THIS[found.along]}, taken as level"
    return words


def no_way(why: NoWay, system: System) -> str:
    """Why no way leads to a place, a clause."""
    away, most = way(why.away_m, system), way(why.most_m, system)
    return {
        "far from tracks": f"the nearest track is {away} away, and people go {most} at most from a track",
        "start far from tracks": f"the start is {away} from the nearest track",
        "tracks apart": "its tracks are not joined to those at the start",
        "long walk": f"it is {why.walk_min:.0f} minutes on foot from where a car can stop, and {why.most_min:.0f} is "
        "the most",
    }[why.why]


def start_refused(why: NoWay, system: System) -> WrongInput:
    """What is said where rounds start too far from any track for a car."""
    return WrongInput(
        "start",
        got=f"a place {way(why.away_m, system)} from the nearest track",
        needed=f"a place within {way(why.most_m, system)} of a track that a car can use",
    )


def supposed(what: Supposed, found: HowGone, system: System) -> tuple[str, ...]:
    """What was taken for the ways where nobody said it, in sentences."""
    if what.followed == "tracks":
        said = "Walking by Tobler's speeds."
        if found.by_car:
            said = f"Walking by Tobler's speeds; {wheels(found.drive_kmh, system)} on tracks where none is given."
        if what.car_left:
            said += " No track on the map is marked for cars, so all of it is on foot."
    else:
        why = {
            "no track": "No track is on the map",
            "unusable tracks": f"The tracks could not be used ({what.trouble})",
            "as asked": "Straight lines were asked for",
        }[what.followed]
        last = way(what.last_walk_m, system)
        far = f"; the last {last} from the car to each site are walked" if what.last_walk_m else ""
        said = f"{why}: straight lines, made longer by {found.detour:g}{far}. Assumed."
    return (said, level(system)) if found.heights == "level" else (said,)


def level(system: System) -> str:
    """That walks are reckoned level, and what a climb would add."""
    shown = scale("m", system)
    up = f"{wording.trimmed(shown.from_stored(HOUR_UP_M), 1)} {shown.sign}"
    return (
        f"Reckoned level: there is no height grid of the reserve, and nobody typed a climb. {up} up take an hour more."
    )


def share(of: WayShare, system: System) -> str:
    """How one site's share of a round's way was worked out, a clause; why it was not, where it is assumed.

    `of.how` is None where it is assumed.
    """
    both = "" if of.cameras == 1 else f", shared by {of.cameras} cameras there"
    if of.how is None:
        why = {
            "no start": "nobody said where rounds start",
            "no way": "no way leads there" if of.no_way is None else no_way(of.no_way, system),
            "trouble": of.trouble,
        }.get(of.why, "")
        return f"{why}{both}" if why else f"shared by {of.cameras} cameras there" if of.cameras > 1 else ""
    trip = f"its share of {of.whole_min:.0f} min on a round to {wording.plural(of.sites, 'site')}"
    said = "there and back" if of.sites == 1 else trip
    flat = "; reckoned level" if of.how.heights == "level" else ""
    return f"{said}, from where rounds start; {how(of.how, system)}{flat}{both}"
