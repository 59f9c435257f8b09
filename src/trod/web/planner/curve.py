"""The share of a herd that is seen, by lens height, drawn with its numbers in a title and in words."""

from __future__ import annotations

from trod.drawing.pen import Pen, Svg, shape, through
from trod.drawing.scales import Axis
from trod.telling.measures import length
from trod.units import System
from trod.web.shared.placing import Herd

WIDE, HIGH = 560.0, 250.0
LEFT, RIGHT, TOP, FOOT = 52.0, WIDE - 16.0, 22.0, HIGH - 44.0


def herd_svg(herd: Herd, *, system: System = "metric") -> Svg:
    """A line from the lowest lens to the highest; a ring where the camera hangs, a post where height pays."""
    pen = Pen(key="herd")
    low, high = herd.rows[0][0], herd.rows[-1][0]
    across, up = Axis(low, max(high, low + 0.1), LEFT, RIGHT), Axis(0, 1, FOOT, TOP)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        pen.line(LEFT, up(share), RIGHT, up(share), ink="ruled")
        pen.text(LEFT - 8, up(share) + 4, f"{100 * share:.0f}", anchor="end", fill="faint")
    step = 1 if high - low > 2.5 else 0.5
    mark = low - low % step + step
    while mark < high - 0.3 * step:
        pen.path(shape("M", across(mark), FOOT, "v5"), ink="ink")
        pen.text(across(mark), FOOT + 19, length(mark, system), anchor="middle", fill="faint")
        mark += step
    if herd.pays_m is not None:
        x = across(herd.pays_m)
        pen.line(x, TOP, x, FOOT, ink="moss", wide=1.6, dash="7 4")
        pen.text(*_beside(x, 6, FOOT - 8, "pays from here"), fill="moss", anchor=_side(x))
    pen.path(through((across(height), up(share)) for height, share in herd.rows), ink="ink", wide=2.4)
    if herd.here is not None:
        x, y = across(herd.here[0]), up(herd.here[1])
        pen.circle(x, y, 6.5, fill="none", ink="clay", wide=2.6)
        pen.text(*_beside(x, 12, y + 18, "yours"), fill="clay", anchor=_side(x), bold=True)
    pen.text(LEFT - 40, 13, "of 100 animals, seen")
    pen.text(RIGHT, HIGH - 6, "lens height", anchor="end")
    here = f" From {length(herd.here[0], system)}, as here, about {100 * herd.here[1]:.0f} of 100." if herd.here else ""
    return pen.done(WIDE, HIGH, herd.sentence + here)


def _side(x: float) -> str:
    return "end" if x > WIDE * 0.7 else "start"


def _beside(x: float, gap: float, y: float, words: str) -> tuple[float, float, str]:
    """Words beside a mark, on the side that has room."""
    return x + (-gap if _side(x) == "end" else gap), y, words
