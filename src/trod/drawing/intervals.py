"""A rate at several independence intervals: dot and line for each, the one in use as a ring."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trod.drawing.pen import Pen, Svg
from trod.drawing.scales import Axis, round_step

WIDE, HIGH = 560.0, 220.0
LEFT, RIGHT, TOP, FOOT = 52.0, 16.0, 26.0, 44.0


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One interval: its name, the rate with its ends, whether it is the one in use."""

    name: str
    value: float
    low: float
    high: float
    asked: bool


def figure(marks: Sequence[Mark], *, unit: str, label: str) -> Svg:
    """The marks side by side, shortest interval first, from 0 up. An end beyond twice the highest rate is cut."""
    top = max((min(mark.high, 2 * max(m.value for m in marks)) for mark in marks), default=1.0) or 1.0
    step = round_step(top / 4)
    steps = int(top / step) + 1
    up = Axis(0, steps * step, HIGH - FOOT, TOP)
    pen = Pen(key="intervals")
    for n in range(steps + 1):
        y = up(n * step)
        pen.line(LEFT, y, WIDE - RIGHT, y, ink="ruled")
        pen.text(LEFT - 8, y + 4, f"{n * step:g}", anchor="end", fill="faint")
    apart = (WIDE - LEFT - RIGHT) / max(len(marks), 1)
    for n, mark in enumerate(marks):
        x = LEFT + (n + 0.5) * apart
        ink = "clay" if mark.asked else "moss"
        pen.line(x, up.within(mark.low), x, up.within(mark.high), ink=ink, wide=2.5)
        pen.circle(x, up.within(mark.value), 5, fill="leaf" if mark.asked else ink, ink=ink, wide=2.5)
        pen.text(x, HIGH - FOOT + 20, mark.name, anchor="middle", fill="ink" if mark.asked else "faint", bold=mark.asked)
    pen.text(LEFT - 40, 14, unit)
    pen.text(WIDE - RIGHT, HIGH - 6, "apart, to count as two", anchor="end")
    return pen.done(WIDE, HIGH, label)
