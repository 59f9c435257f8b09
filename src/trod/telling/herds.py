"""How much of a herd is seen, in words."""

from __future__ import annotations

from trod import wording
from trod.planning.catch.herdview import HeightThatPays, HerdView
from trod.planning.place.facts import TooHidden
from trod.telling.measures import length
from trod.units import System


def seen(view: HerdView, system: System) -> str:
    """How much of a herd a camera sees."""
    hidden = 1 - view.share
    if view.share >= 0.97:
        words = "nearly all"
    else:
        words = f"about {10 * view.share:.0f} in 10" if view.share < 0.9 else "more than 9 in 10"
    behind = "hardly any are" if hidden < 0.03 else f"about {max(1, round(view.herd * hidden))} are"
    return (
        f"From {length(view.height_m, system)} {words} of {view.herd:.0f} animals show enough to be counted; {behind} "
        "hidden behind others."
    )


def hidden(herd: TooHidden, system: System) -> str:
    """Why a herd cannot be counted from there."""
    return (
        f"From {length(herd.height_m, system)} about {wording.share(herd.share)} of a herd of {herd.herd:.0f} can be "
        "seen, and the number seen hardly grows with the herd; set the camera higher (about "
        f"{length(herd.higher_m, system)}) or count a smaller part of the ground."
    )


def pays(found: HeightThatPays, system: System) -> str:
    """The height from which a herd is well seen."""
    height = length(found.height_m, system)
    if not found.reached:
        return (
            f"Even from {height} only about {wording.share(found.share)} of {found.herd:.0f} animals are seen; "
            "watch a smaller part of the ground, or from two sides."
        )
    if found.wanted == 0.9:
        return f"From about {height} nine in ten of {found.herd:.0f} animals are seen; higher adds little."
    return f"From about {height} {wording.share(found.wanted)} of {found.herd:.0f} animals are seen."
