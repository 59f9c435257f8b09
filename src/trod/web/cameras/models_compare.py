"""Camera models ranked for a use, worked out beside the pages and held in memory by what went in.

A ranking takes a second or two, so no page waits for it (`trod.web.beside`). What went in makes the key, so a
changed figure is worked out anew and nothing old is ever shown.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any

from trod import __version__, wording
from trod.planning.catch.ranking import TIED, USES, Ranked, Use, rank_for
from trod.planning.equipment.camera import CameraSpec
from trod.web.beside import Work, Works

AIRS: dict[str, tuple[str, float]] = {
    "frost": ("frost", -5.0),
    "cool": ("a cool day", 5.0),
    "mild": ("a mild day", 15.0),
    "warm": ("a warm day", 25.0),
}
# The keys of `USES`, as they stand in an address, with how a person says them.
WANTED: dict[str, tuple[str, str]] = {
    "trail": ("fast animals on a trail", "Fast animals on a trail"),
    "herd": ("herd at a feeding ground", "A herd at a feeding ground"),
    "small": ("small animals", "Small animals"),
    "security": ("security", "People where they should not be"),
}


_works = Works(most_kept=64, most_waiting=4)


def key_of(use: Use, specs: Sequence[CameraSpec], air_c: float) -> str:
    """A key of all that goes into a ranking."""
    told = [__version__, repr(use), air_c, [asdict(spec) for spec in specs]]
    return hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode()).hexdigest()[:24]


def ranking(
    use: str,
    specs: Sequence[CameraSpec],
    *,
    air_c: float,
    rank: Callable[..., list[Ranked]] = rank_for,
) -> tuple[str, Work]:
    """The ranking of these cameras: held already, under way, or begun now. Returns its key and where it is."""
    key, of = key_of(USES[use], specs, air_c), list(specs)
    work = _works.begin(key, lambda progress: rank(use, of, air_c=air_c, progress=progress), total=2 * len(of))
    return key, work


def forget() -> None:
    """Drop what is held."""
    _works.forget()


def hundredths(share: float) -> str:
    """A simulated share as so many in 100: what was not seen in all passes is never told as none or all."""
    if share > 0.995:
        return "over 99"
    return "under 1" if 0 < share < 0.005 else f"{100 * share:.0f}"


def sentence(wanted: str, ranked: Sequence[Ranked]) -> str:
    """Which camera comes first, and which do as well as far as the model can tell."""
    if not ranked:
        return ""
    what = WANTED[wanted][1]
    first = ranked[0]
    equals = [r.spec.name for r in ranked[1:] if abs(r.caught - first.caught) < TIED]
    caught = f"{hundredths(first.caught)} in 100"
    if USES[WANTED[wanted][0]].stay:
        does = f"has {caught} of the herd in its pictures"
    else:
        does = f"catches {caught} of those that pass, whole and sharp enough"
    head = f"{what}: the {first.spec.name} {does}"
    if len(ranked) == 1:
        return f"{head}. There is no other to hold it against."
    if not equals:
        best = max(r.caught for r in ranked[1:])
        return f"{head}, more than any other; the next comes to {hundredths(best)}."
    if len(equals) == len(ranked) - 1:
        return f"{head}, and all the others as many, as far as the model can tell."
    names = wording.listed([f"the {name}" for name in equals])
    return f"{head}; {names} {'does' if len(equals) == 1 else 'do'} as well, as far as the model can tell."


def context(wanted: str, air: str, ranked: Sequence[Ranked]) -> dict[str, Any]:
    """What a template needs of a ranking beside its lines."""
    return {
        "sentence": sentence(wanted, ranked),
        "doubt": f"{100 * TIED:.0f}",
        "error": f"{max((100 * r.standard_error for r in ranked), default=0):.1f}",
        "stays": bool(USES[WANTED[wanted][0]].stay),
        "air_c": AIRS[air][1],
    }
