"""A hundred animals that pass, as strokes tallied in fives: what becomes of each.

Strokes differ by shape and not by colour alone: whole a full stroke, in part a broken one, empty a dotted one,
not noticed a short one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trod.drawing.pen import Pen, Svg, through

HUNDRED = 100
_GROUPS_A_ROW, _WIDE, _HIGH = 10, 54.0, 46.0
_STROKES = {  # ink, width, dashes
    "whole": ("moss", 3.4, None),
    "part": ("moss", 2.6, "8 4"),
    "empty": ("clay", 3.0, "0.1 6"),
    "missed": ("faint", 1.6, None),
}


@dataclass(frozen=True)
class Lot:
    """One kind of fate: its key, what it is called, and how many of a hundred."""

    key: str
    words: str
    count: int


def counts(shares: Sequence[float]) -> list[int]:
    """Shares of a whole as counts that sum to 100, by largest remainders."""
    exact = [max(share, 0.0) * HUNDRED for share in shares]
    whole = [math.floor(value) for value in exact]
    order = sorted(range(len(exact)), key=lambda i: exact[i] - whole[i], reverse=True)
    for i in order[: HUNDRED - sum(whole)]:
        whole[i] += 1
    return whole


def lots(*, triggered: float, middle: float, whole: float) -> list[Lot]:
    """What becomes of a hundred that pass, from the shares that fire the camera, are in a picture, are whole in one."""
    middle = min(middle, triggered)
    whole = min(whole, middle)
    found = counts((whole, middle - whole, triggered - middle, 1.0 - triggered))
    names = (
        ("whole", "whole in a picture"),
        ("part", "in a picture, but not whole"),
        ("empty", "set it off, but are in no picture"),
        ("missed", "pass and do not set it off"),
    )
    return [Lot(key, words, n) for (key, words), n in zip(names, found, strict=True)]


def visits(seen: float) -> list[Lot]:
    """What becomes of a hundred visits where animals stay, from the share with a picture of it."""
    found = counts((seen, 1.0 - seen))
    words = (("whole", "are in a picture"), ("missed", "come and are in none"))
    return [Lot(key, said, n) for (key, said), n in zip(words, found, strict=True)]


def _stroke(pen: Pen, key: str, x: float, y: float, *, across: bool = False) -> None:
    """One stroke of a tally; the fifth of each group goes across."""
    tall = 30.0
    if across and key == "missed":
        d = through(((x - 25, y + 19), (x - 12, y + 12)))
    elif across:
        d = through(((x - 38, y + tall - 4), (x + 2, y + 4)))
    elif key == "missed":
        d = through(((x, y + 11), (x, y + 20)))
    else:
        d = through(((x, y), (x, y + tall)))
    ink, wide, dash = _STROKES[key]
    pen.path(d, ink=ink, wide=wide, dash=dash, stroke_linecap="round")


def tally_svg(found: Sequence[Lot], *, key: str = "tally") -> Svg:
    """The hundred, in two rows of ten groups of five."""
    pen = Pen(key=key)
    fates = [lot.key for lot in found for _ in range(lot.count)][:HUNDRED]
    for i, fate in enumerate(fates):
        group, place = divmod(i, 5)
        row, column = divmod(group, _GROUPS_A_ROW)
        x = 8 + column * _WIDE + min(place, 3) * 10.0
        _stroke(pen, fate, x + (4 if place == 4 else 0), 7 + row * _HIGH, across=place == 4)
    said = ", ".join(f"{lot.count} {lot.words}" for lot in found)
    whom = "visits" if len(found) == 2 else "that pass"
    return pen.done(_GROUPS_A_ROW * _WIDE - 4, 2 * _HIGH, f"Of 100 {whom}: {said}.", css="tally", id=key)


def sample_svg(key: str, *, across: bool = False) -> Svg:
    """One stroke, for the legend."""
    pen = Pen(key="stroke")
    _stroke(pen, key, 5, 7, across=across)
    return pen.done(10, 44, css="stroke", width=10, height=28)
