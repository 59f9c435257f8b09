"""The sun in and near the picture, in words."""

from __future__ import annotations

from trod.planning.ground.site import MONTHS
from trod.planning.place.glare import HeadingAdvice, Spell
from trod.telling.measures import figure, hours


def best(advice: HeadingAdvice) -> str:
    """Which headings keep the sun out."""
    least = "none" if advice.least_h < 1 else f"about {hours(advice.least_h)}"
    most = f"{advice.worst_deg:.0f}° has most, about {_few(advice.worst_h)}"
    if advice.good == ((0.0, 360.0),):
        return f"No heading is much better than another ({least} a year of clear days); {most}."
    named = " or ".join(f"{a:.0f}° to {b:.0f}°" if a != b else f"{a:.0f}°" for a, b in advice.good)
    return f"Least sun with a heading of {named} ({least} a year of clear days); {most}."


def _few(hours_h: float) -> str:
    return f"{hours_h:.0f}" if hours_h < 10 else figure(hours_h)


def spell(of: Spell) -> str:
    """Days in a row with glare, and its hours of the clock."""
    first, last = (f"{day.day} {MONTHS[day.month - 1]}" for day in (of.first, of.last))
    beside = "" if of.in_frame else ", beside the frame"
    return f"{first} to {last}, {_clock(of.from_h)} to {_clock(of.to_h)}{beside}"


def _clock(hour: float) -> str:
    minutes = round(hour * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
