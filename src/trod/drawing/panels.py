"""Small charts of one size and one scale, one for each part of a record."""

from __future__ import annotations

from datetime import date

import numpy as np

from trod import wording
from trod.drawing.pen import Pen, Svg, shape, through
from trod.drawing.scales import Axis, round_step
from trod.findings import panels as facts
from trod.findings.panels import Panel, Panels

WIDE, HIGH = 300.0, 150.0
LEFT, RIGHT, TOP, FOOT = 38.0, 8.0, 12.0, 24.0


def figures(known: Panels, labels: dict[str, str]) -> dict[str, Svg]:
    """The drawn parts, by their keys. labels : what each shows, in words."""
    top = facts.top_of(known)
    step = round_step(top / 3)
    steps = max(1, -(-top // step))
    up = Axis(0.0, step * steps, HIGH - FOOT, TOP)
    months = facts.months_of(known)
    return {
        panel.key: _figure(n, panel, up, step, int(steps), months, labels[panel.key])
        for n, panel in enumerate(known.panels)
        if panel.state == "drawn"
    }


def _figure(n: int, panel: Panel, up: Axis, step: float, steps: int, months: tuple[date, ...], label: str) -> Svg:
    pen = Pen(key=f"panel-{n}")
    for line in range(steps + 1):
        y = up(line * step)
        pen.line(LEFT, y, WIDE - RIGHT, y, ink="ruled")
        pen.text(LEFT - 5, y + 4, f"{line * step:g}", anchor="end", fill="faint", size=11)
    if panel.curve is not None:
        _hours(pen, panel, up)
    else:
        _months(pen, panel, up, months)
    return pen.done(WIDE, HIGH, label)


def _hours(pen: Pen, panel: Panel, up: Axis) -> None:
    """The curve over the clock's day in its band; hours that were not watched are left open."""
    curve = panel.curve
    assert curve is not None
    along = Axis(0.0, 24.0, LEFT, WIDE - RIGHT)
    for hour in (0, 6, 12, 18, 24):
        pen.line(along(hour), HIGH - FOOT, along(hour), HIGH - FOOT + 4, ink="edge")
        pen.text(along(hour), HIGH - 6, f"{hour}", anchor="middle", fill="faint", size=11)
    seen = np.flatnonzero(curve.watched)
    for run in np.split(seen, np.flatnonzero(np.diff(seen) > 1) + 1):
        if len(run) < 2:
            continue
        xs = [along(float(curve.hours[i])) for i in run]
        over = [(x, up.within(float(curve.high[i]))) for x, i in zip(xs, run, strict=True)]
        under = [(x, up.within(float(curve.low[i]))) for x, i in zip(xs, run, strict=True)]
        pen.path(through([*over, *reversed(under)], closed=True), fill="moss-wash")
        line = [(x, up.within(float(curve.density[i]))) for x, i in zip(xs, run, strict=True)]
        pen.path(through(line), ink="moss", wide=2)


def _months(pen: Pen, panel: Panel, up: Axis, months: tuple[date, ...]) -> None:
    """A dot and its interval for each month with a rate. Seasons and years keep the places of their own months."""
    if panel.stretch is None:
        places = {month: n for n, month in enumerate(months)}
    else:
        first = panel.stretch.first
        count = (panel.stretch.last.year - first.year) * 12 + panel.stretch.last.month - first.month + 1
        places = {}
        for n in range(count):
            number = first.month - 1 + n
            places[date(first.year + number // 12, number % 12 + 1, 1)] = n
    apart = (WIDE - LEFT - RIGHT) / max(len(places), 1)
    crowded = len(places) > 24
    for month, n in places.items():
        x = LEFT + (n + 0.5) * apart
        if len(places) <= 12:
            pen.text(x, HIGH - 6, wording.SHORT_MONTHS[month.month - 1][: 3 if len(places) < 8 else 1],
                     anchor="middle", fill="faint", size=11)  # fmt: skip
        elif month.month == 1 or n == 0:
            pen.line(x - apart / 2, HIGH - FOOT, x - apart / 2, HIGH - FOOT + 4, ink="edge")
            if month.month == 1 or 12 - month.month >= 6:
                pen.text(x - apart / 2, HIGH - 6, f"{month.year}", fill="faint", size=11)
    for row in panel.months:
        if row.rate is None or row.month not in places:
            continue
        x = LEFT + (places[row.month] + 0.5) * apart
        if row.shown is not None:
            pen.path(
                shape("M", x, up.within(row.shown.low), "V", up.within(row.shown.high)),
                ink="moss",
                wide=1 if crowded else 2,
            )
        pen.circle(x, up.within(row.rate), 2.2 if crowded else 3.5, fill="moss")
