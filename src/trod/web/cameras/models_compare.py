"""Camera models ranked for a use, worked out beside the pages and held in memory by what went in.

A ranking takes a second or two, so no page waits for it: a thread does it, the page asks how far it is. What
went in makes the key, so a changed figure is worked out anew and nothing old is ever shown.
"""

from __future__ import annotations

import hashlib
import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from trod import __version__
from trod.errors import Stopped, TrodError
from trod.planning.camera import CameraSpec
from trod.planning.ranking import TIED, USES, Ranked, Use, rank_for

MOST_KEPT = 64
MOST_WAITING = 4
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


@dataclass
class Work:
    """One ranking under way or done. result : once it is done; trouble : when it cannot be."""

    done: int = 0
    total: int = 1
    result: list[Ranked] | None = None
    trouble: str = ""
    ended: threading.Event = field(default_factory=threading.Event)


_works: OrderedDict[str, Work] = OrderedDict()
_lock = threading.Lock()
_turn = threading.Lock()  # one ranking at a time: the pages need the machine, too


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
    key = key_of(USES[use], specs, air_c)
    with _lock:
        work = _works.get(key)
        if work is not None and not (work.ended.is_set() and work.result is None):
            _works.move_to_end(key)
            return key, work
        if sum(not one.ended.is_set() for one in _works.values()) >= MOST_WAITING:
            return key, Work(trouble="Several comparisons are being worked out already; try again in a moment.")
        work = _works[key] = Work(total=max(1, 2 * len(specs)))
        while len(_works) > MOST_KEPT:
            oldest = next((k for k, one in _works.items() if one.ended.is_set()), None)
            if oldest is None:
                break
            del _works[oldest]
    threading.Thread(
        target=_do, args=(work, use, list(specs), air_c, rank), name="comparison", daemon=True
    ).start()
    return key, work


def _do(work: Work, use: str, specs: list[CameraSpec], air_c: float, rank: Callable[..., list[Ranked]]) -> None:
    def progress(done: int, total: int) -> None:
        work.done, work.total = done, max(1, total)

    try:
        with _turn:
            work.result = rank(use, specs, air_c=air_c, progress=progress)
    except (TrodError, Stopped) as trouble:
        work.trouble = str(trouble)
    except Exception as trouble:  # a fault must not leave a page that waits for ever
        work.trouble = f"An unforeseen fault ({type(trouble).__name__}: {trouble}). Nothing is lost; try again."
    finally:
        work.ended.set()


def forget() -> None:
    """Drop what is held."""
    with _lock:
        _works.clear()


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
    names = " and ".join(filter(None, (", ".join(f"the {name}" for name in equals[:-1]), f"the {equals[-1]}")))
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
