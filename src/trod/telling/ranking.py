"""Why a camera stands in its place for a use, in words."""

from __future__ import annotations

from trod.planning.catch.ranking import HeldBack, Ranked
from trod.planning.catch.walkby import in_words
from trod.planning.equipment.camera import CameraSpec
from trod.telling.measures import length
from trod.units import System

NAMES = {
    "zone_deg": "detection angle",
    "range_m": "detection range",
    "fov_deg": "angle of view",
    "trigger_s": "trigger time",
    "rearm_s": "recovery time",
    "burst_max": "burst",
    "flash_reach_m": "flash reach",
    "columns": "pixels",
}
EMPTY_TOLD = 0.2


def reasons(ranked: Ranked, system: System) -> tuple[str, ...]:
    """What it catches, what holds it back, and how many of its pictures are empty."""
    day, night = in_words(ranked.day), in_words(ranked.night)
    if ranked.stays:
        lines = [f"Of the herd {day} in 100 are in a picture by day, {night} by night."]
    else:
        lines = [f"Of 100 that pass, {day} are caught whole by day, {night} by night."]
    if ranked.spec.flash == "none":
        lines.append("It has no flash, so it takes nothing by night.")
    lines += [held_back(one, ranked.caught, system) for one in ranked.held_back]
    if ranked.empty is not None and ranked.empty >= EMPTY_TOLD:
        lines.append(f"Of 100 of its pictures {in_words(ranked.empty)} are empty.")
    return tuple(lines)


def held_back(one: HeldBack, caught: float, system: System) -> str:
    """What a better figure would be worth."""
    what, better = {
        "trigger_s": (f"trigger time of {one.own:.2g} s", f"{one.better:g} s"),
        "burst_max": (f"burst of {one.own:.0f}", f"{one.better:g}"),
        "range_m": (f"detection range of {length(one.own, system)}", length(one.better, system)),
        "flash_reach_m": (f"flash that reaches {length(one.own, system)}", length(one.better, system)),
        "fov_deg": (f"angle of view of {one.own:.0f}°", f"{one.better:g}°"),
        "columns": (f"width of {one.own:.0f} pixels", f"{one.better:g}"),
    }[one.figure]
    return (
        f"Held back by its {what} ({one.origin}): with {better} it would catch {in_words(one.caught)} instead of "
        f"{in_words(caught)}."
    )


def cautions(ranked: Ranked) -> tuple[str, ...]:
    """What is to be known of its figures and its flash."""
    spec = ranked.spec
    lines = []
    if names := guessed(spec):
        lines.append(f"Nobody says its {', '.join(names)}; assumed here.")
    enlarged = spec.enlarged()
    if enlarged is not None and enlarged > 1.2:
        lines.append(f"Claims {enlarged:.1f} times the pixels that its sensor has; ranked by the sensor's.")
    elif spec.measured.columns is None and spec.claimed.columns is not None:
        lines.append("Its pixels are the maker's word; a target photographed with it would tell.")
    if ranked.seen_flash:
        lines.append("Its flash can be seen, so whoever is photographed may know.")
    return tuple(lines)


def guessed(spec: CameraSpec) -> list[str]:
    """The figures that nobody says."""
    return [
        words
        for name, words in NAMES.items()
        if spec.figure(name).origin == "assumed" and not (name == "flash_reach_m" and spec.flash == "none")
    ]
