"""When a camera will stop, and what that rests on, in whole sentences."""

from __future__ import annotations

import math

from scipy.special import gammaincinv

from trod import wording
from trod.planning.equipment.pack_text import PackSaid
from trod.planning.last.arrivals import Arrivals
from trod.planning.last.endurance import Caveat, StopForecast
from trod.planning.last.stopping import Outfit

_BY: dict[str, str] = {
    "batteries": "the batteries no longer carry the flash",
    "card": "the card is full",
    "fault": "by a fault or theft",
}
_BECAUSE = _BY | {"fault": "of a fault or theft"}
CAVEATS: dict[Caveat, str] = {
    "no faults": "No chance of a fault, damage or theft is in this forecast. Say how often that happens on your map: "
    "for a camera that lasts long it may matter more than batteries and card.",
    "no card": "No card has come from this site yet: triggers a day are assumed for its kind. The first card narrows "
    "this.",
    "gauge": "Lithium (FR6) and nickel-metal hydride (HR6) batteries keep their voltage almost to the end: a percentage "
    "shown by the camera says next to nothing about how long they will last.",
    "cold stop": "In the cold these batteries give up before they are empty. A stop on a cold night can be for a while "
    "only: the camera may wake when it gets warmer, and its clock may then be wrong.",
    "measure": "What a camera draws while it waits differs from kind to kind by ten times and is seldom stated. Measure "
    "it with a meter in the line, and the forecast gets better by that much.",
    "nights assumed": "The nights' cold is assumed. Type in the reserve's own monthly night minima.",
    "empty already": "By what is known the batteries should be empty already. Either they were changed, or the camera "
    "takes less than is assumed: put in fresh batteries and note it.",
}


def caveat(which: Caveat) -> str:
    """One thing to mind about a forecast."""
    return CAVEATS[which]


def sentence(told: StopForecast) -> str:
    """When and why it stops, and what to plan on."""
    plan = "" if told.early is None else f" Plan on {wording.day(told.early, told.start)}."
    return outlook(told) + plan


def outlook(told: StopForecast, *, inside: bool = False) -> str:
    """When and why it stops. inside : as a part of a sentence that has begun, "probably stops …"."""
    early, late, start = told.early, told.late, told.start
    probably = "probably" if inside else "Probably"
    if early is None:
        return (
            f"{probably} watches for longer than {told.horizon} days from {wording.day(start)}. No forecast is "
            "worth more than that: go and look in between."
        )
    if late is None:
        when = f"{probably} stops after {wording.day(early, start)} (9 of 10)"
    elif early == late:
        when = f"{probably} stops on {wording.day(early, start)} (8 of 10)"
    else:
        first = wording.day(early, start if late.year == early.year else None)
        when = f"{probably} stops between {first} and {wording.day(late, start)} (8 of 10)"
    return f"{when}; {why(told)}."


def why(told: StopForecast) -> str:
    """The likeliest cause, or two that are about as likely."""
    whole = sum(told.causes.values())
    ranked = sorted(told.causes.items(), key=lambda item: -item[1])
    (first, share), (second, next_share) = ranked[0], ranked[1]
    if share < 0.6 * whole and next_share > 0.3 * whole:
        return f"about as likely because {_BECAUSE[first]} as because {_BECAUSE[second]}"
    return f"most likely {_BY[first]}"


def both_ways(told: StopForecast) -> str:
    """What a run of false triggers makes of it, if it stays and if it ends; "" where none is on."""
    if told.run is None:
        return ""
    run, said = told.run, []
    for how, spread in (("stays", run.stays), ("ends with the wind", run.ends)):
        early, middle = told.on(spread.q10), told.on(spread.q50)
        if early is None:
            said.append(f"if it {how}, it lasts longer than {told.horizon} days (9 of 10)")
            continue
        half = "much later" if middle is None else f"about {wording.day(middle, told.start)}"
        said.append(f"if it {how}, it stops {half} and 1 time in 10 by {wording.day(early, told.start)}")
    stays = min(99, max(1, round(100 * run.chance_stays)))
    return (
        f"False triggers have come on {run.days} days in a row. Grass grown up, or a branch, stays until somebody "
        f"cuts it: {said[0]}; {said[1]}. The chance that it stays is {stays} in 100."
    )


def after_flash(told: StopForecast) -> str:
    """What comes after the batteries no longer carry the flash; "" where batteries seldom end it."""
    if told.dark is None or told.causes.get("batteries", 0.0) < 0.2:
        return ""
    end = told.on(told.dark.q50)
    until = "well beyond the horizon" if end is None else f"about {wording.day(end, told.start)}"
    return f"By day it may go on taking pictures until {until}; nights are lost."


def arrivals(site: Arrivals) -> str:
    """What is known of a site's triggers."""
    known = site.posterior
    steady = f"about {_two(known.level.per_day)} triggers a day"
    low, high = (float(gammaincinv(known.level.shape, q)) / known.level.rate for q in (0.1, 0.9))
    false_runs = (
        f"a run of false triggers of about {_two(known.false_run_blanks)} blanks a day on "
        f"{_two(100 * known.false_run_share)} % of days"
    )
    basis = f"from {wording.plural(known.days, 'day')} of pictures" if known.days else site.prior.source
    run = f"; false triggers for {known.run_days} days in a row up to now" if known.run_days > 1 else ""
    return f"Animals and people: {steady} ({_two(low)} to {_two(high)}, 8 of 10), and {false_runs}{run}; {basis}."


def outfit(gear: Outfit) -> str:
    """An outfit in a few words."""
    takes = []
    if gear.frames:
        takes.append(wording.plural(gear.frames, "picture"))
    if gear.clip_s:
        takes.append(f"a clip of {gear.clip_s:g} s")
    return f"{gear.pack.name}, {gear.card_gb:g} GB, {wording.listed(takes)} a trigger, {gear.delay_s:g} s between"


def pack_source(said: PackSaid) -> str:
    """Where a pack of batteries is from; for one that is assumed (`said.nothing`), what is said beside that."""
    if said.strange:
        return f"“{said.strange}” is no kind of battery that is known here"
    if said.kind == "assumed":
        return "" if said.number_assumed else "the number as written down, their kind assumed"
    whence = "as written down" if said.kind == "text" else "as the camera model says"
    return f"{whence}; how many is assumed" if said.number_assumed else whence


def _two(value: float) -> str:
    """A number with two figures."""
    if value <= 0:
        return "0"
    digits = 1 - math.floor(math.log10(value))
    return f"{round(value, digits):.{max(digits, 0)}f}"
