"""A hundred animals that pass, as strokes tallied in fives: what becomes of each.

Strokes differ by shape and not by colour alone: whole a full stroke, in part a broken one, empty a dotted one,
not noticed a short one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

HUNDRED = 100
_GROUPS_A_ROW, _WIDE, _HIGH = 10, 54.0, 46.0
_INK = {"whole": "moss", "part": "moss", "empty": "clay", "missed": "faint"}
_HEX = {"moss": "#46602a", "clay": "#9c4221", "faint": "#625a48"}


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


def stroke(key: str, x: float, y: float, *, across: bool = False) -> str:
    """One stroke of a tally; the fifth of each group goes across."""
    ink = f'stroke="var(--{_INK[key]}, {_HEX[_INK[key]]})"'
    tall = 30.0
    if across and key == "missed":
        d = f"M{x - 25:.1f} {y + 19:.1f}L{x - 12:.1f} {y + 12:.1f}"
    elif across:
        d = f"M{x - 38:.1f} {y + tall - 4:.1f}L{x + 2:.1f} {y + 4:.1f}"
    elif key == "missed":
        d = f"M{x:.1f} {y + 11:.1f}v9"
    else:
        d = f"M{x:.1f} {y:.1f}v{tall:g}"
    style = {
        "whole": 'stroke-width="3.4"',
        "part": 'stroke-width="2.6" stroke-dasharray="8 4"',
        "empty": 'stroke-width="3" stroke-dasharray="0.1 6"',
        "missed": 'stroke-width="1.6"',
    }[key]
    return f'<path d="{d}" {ink} {style} stroke-linecap="round" fill="none"/>'


def tally_svg(found: Sequence[Lot], *, key: str = "tally") -> str:
    """The hundred, in two rows of ten groups of five."""
    fates = [lot.key for lot in found for _ in range(lot.count)][:HUNDRED]
    parts = []
    for i, fate in enumerate(fates):
        group, place = divmod(i, 5)
        row, column = divmod(group, _GROUPS_A_ROW)
        x = 8 + column * _WIDE + min(place, 3) * 10.0
        y = 7 + row * _HIGH
        parts.append(stroke(fate, x + (4 if place == 4 else 0), y, across=place == 4))
    said = ", ".join(f"{lot.count} {lot.words}" for lot in found)
    whom = "visits" if len(found) == 2 else "that pass"
    width, height = _GROUPS_A_ROW * _WIDE - 4, 2 * _HIGH
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="tally" viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
        f'aria-label="{escape(f"Of 100 {whom}: {said}.")}" id="{escape(key)}">' + "".join(parts) + "</svg>"
    )


def sample_svg(key: str) -> str:
    """One stroke, for the legend."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" class="stroke" viewBox="0 0 10 44" width="10" height="28" '
        f'aria-hidden="true">{stroke(key, 5, 7)}</svg>'
    )
