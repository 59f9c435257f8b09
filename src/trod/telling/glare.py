"""The sun in and near the picture, in words."""

from __future__ import annotations

from trod import wording
from trod.planning.place.glare import GlareYear, HeadingAdvice, Spell
from trod.telling.measures import figure, hours


def best(advice: HeadingAdvice) -> str:
    """Which headings keep the sun out."""
    least = "none" if advice.least_h < 1 else f"about {hours(advice.least_h)}"
    most = f"{advice.worst_deg:.0f}° has most, about {_few(advice.worst_h)}"
    if advice.good == ((0.0, 360.0),):
        return f"No heading is much better than another ({least} a year of clear days); {most}."
    named = " or ".join(f"{a:.0f}° to {b:.0f}°" if a != b else f"{a:.0f}°" for a, b in advice.good)
    return f"Least sun with a heading of {named} ({least} a year of clear days); {most}."


def year(of: GlareYear) -> str:
    """How much sun comes into the picture in a year, and in which months most."""
    if of.hours < 1:
        return "The sun never comes into or near the picture."
    order = sorted(range(12), key=lambda month: -of.by_month[month])[:3]
    worst = [wording.MONTHS[month] for month in sorted(order) if of.by_month[month] >= 1]
    most = f", most in {wording.listed(worst)}" if worst else ""
    inside = f", about {_few(of.hours_in_frame)} of them in it" if of.hours_in_frame >= 1 else ""
    hours_said = "1 hour" if _few(of.hours) == "1" else f"{_few(of.hours)} hours"
    return f"On clear days the sun is in or near the picture for about {hours_said} a year{inside}{most}."


def _few(hours_h: float) -> str:
    return f"{hours_h:.0f}" if hours_h < 10 else figure(hours_h)


def spell(of: Spell) -> str:
    """Days in a row with glare, and its hours of the clock."""
    first, last = (f"{day.day} {wording.MONTHS[day.month - 1]}" for day in (of.first, of.last))
    beside = "" if of.in_frame else ", beside the frame"
    return f"{first} to {last}, {_clock(of.from_h)} to {_clock(of.to_h)}{beside}"


def _clock(hour: float) -> str:
    minutes = round(hour * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
