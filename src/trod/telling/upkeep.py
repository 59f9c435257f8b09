"""When to go to a camera, or to all of them, and why then."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from trod import wording
from trod.planning.visit.upkeep import LONGEST_UNASKED_DAYS, GoWhy, NextVisit, RoundDay

ASK_HAZARD = (
    f"Batteries and card may last longer than {LONGEST_UNASKED_DAYS:.0f} days, but that is no reason to stay away so "
    "long: say how often cameras fail or vanish here (faults, theft, bears, falling trees), and the best interval can "
    "be worked out."
)


def go(why: GoWhy) -> str:
    """When to go to a camera and why then, in sentences."""
    if why.visit is None or why.visit.plan_on is None:
        return reason(why)
    when = "today" if why.visit.plan_on == why.visit.asked_on else f"by {wording.day(why.visit.plan_on)}"
    return f"Go {when}. {reason(why)}"


def reason(why: GoWhy) -> str:
    """The same where the day is said already."""
    if why.found_on is not None:
        return f"It was found stopped on {wording.day(why.found_on)}: go as soon as you can."
    if why.unseen_days:
        return f"Nobody has seen it at work for {why.unseen_days} days: go as soon as you can."
    return why.trouble if why.visit is None else _weighed(why.visit)


def _weighed(visit: NextVisit) -> str:
    """What is lost until the day to go, and what stood against another one."""
    if visit.plan_on is None:
        closed = f" ({visit.held_up_by.why})" if visit.held_up_by is not None else ""
        return f"No day is open until {wording.day(visit.looked_to)}{closed}."
    by = "now" if visit.plan_on == visit.asked_on else "then"
    said = f"By {by} {stopped(visit.chance_stopped)}, and {lost(visit.lost_days)}."
    if visit.held_up_by is not None:
        said += f" A better day is closed ({visit.held_up_by.why})."
    if visit.interval.outcome == "ask for the hazard":
        said += f" {ASK_HAZARD}"
    elif visit.best is not None and visit.best > visit.plan_on:
        said += f" By price alone {wording.day(visit.best)} would do, but forecasts err on the late side."
    return said


def stopped(chance: float) -> str:
    """The chance of having stopped by a day, as the end of a sentence that begins with "By then"."""
    if chance <= 0.005:
        return "it has hardly any chance of having stopped"
    if chance >= 0.95:
        return "it has almost surely stopped"
    return f"it has stopped with a chance of {chance * 100:.0f} in 100"


def lost(days: float) -> str:
    """Expected camera-days lost, never as 0.0."""
    if days < 0.05:
        return "hardly a camera-day is lost"
    if days < 0.95:
        return "less than a camera-day is lost on the average"
    return f"about {wording.plural(round(days), 'camera-day is', 'camera-days are')} lost on the average"


def saves(days: float, fewer_visits: float) -> str:
    """What a fix saves in a year, a clause."""
    said = f"saves about {wording.camera_days(round(days))} a year"
    if fewer_visits >= 0.95:
        said += f", {wording.plural(round(fewer_visits), 'visit')} fewer among them"
    elif fewer_visits <= -0.95:
        said += f", with {wording.plural(-round(fewer_visits), 'visit')} more, since these then pay"
    return said


def round_to_all(best: RoundDay, *, by: tuple[date, str] | None = None) -> str:
    """The best day for the next round to all cameras.

    by : the day by which one of them wants somebody, and which, where that comes before.
    """
    if by is not None:
        then = "" if best.day is None else f" A round to all of them would pay best on {wording.day(best.day)}."
        return f"Go by {wording.day(by[0])}, which is as long as {by[1]} should wait.{then}"
    if best.day is None:
        return f"No day is open until {wording.day(best.looked_to)}."
    many = len(best.take) + len(best.leave)
    of_all = f"{len(best.take)} of {wording.plural(many, 'camera')}" if many > 1 else "the camera"
    words = f"Go on {wording.day(best.day)} to {of_all}"
    return f"{words}; {wording.listed_at_most(best.leave, 4)} can wait." if best.leave else f"{words}."


def found_stopped(names: Sequence[str]) -> str:
    """That cameras were found stopped at these sites, and nobody set them going again."""
    them = "it" if len(names) == 1 else "them"
    return f"Go as soon as you can: {wording.listed_at_most(names, 4)} stopped, and nobody set {them} going again."
