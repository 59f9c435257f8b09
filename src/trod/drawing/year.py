"""A site's year on one strip: how much of each week was watched, and what came in it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from trod import wording
from trod.drawing.pen import Pen, Svg
from trod.findings.site_year import SiteYear

LEFT, WEEK, TOP = 150.0, 12.0, 24.0
ROW, EFFORT = 22.0, 28.0
MOST_KINDS = 14  # rows that keep the strip on one sheet; the table beneath holds all
LARGEST = 9.0  # px, the radius of the largest dot


def figure(known: SiteYear, visits: Sequence[date], label: str) -> Svg:
    """Weeks from left to right; a dot's area is its detections, on one scale for all kinds."""
    kinds = known.kinds[:MOST_KINDS]
    wide = LEFT + WEEK * len(known.weeks) + 8
    high = TOP + EFFORT + 8 + ROW * len(kinds) + 8
    pen = Pen(key=f"year-{known.year}")
    begin = date(known.year, 1, 1)

    def x(day: date) -> float:
        return LEFT + min((day - begin).days / 7, len(known.weeks)) * WEEK

    foot = TOP + EFFORT
    hatching = pen.hatch("open", ink="edge", gap=4, wide=1)
    lost = pen.hatch("lost", ink="clay", turn=-45, gap=4, wide=1.4)
    for n, week in enumerate(known.weeks):
        at, y = LEFT + n * WEEK, foot
        for length, fill in ((week.proven, "moss"), (week.open, hatching), (week.lost, lost)):
            tall = EFFORT * min(length / week.days, 1.0)
            if tall > 0.3:
                pen.rect(at, max(y - tall, TOP), WEEK - 1, min(tall, y - TOP), fill=fill)
                y -= tall
    pen.line(LEFT, foot, wide - 8, foot, ink="edge")
    pen.text(LEFT - 8, foot - 9, "watched", anchor="end", fill="faint")
    for month in range(1, 13):
        at = x(date(known.year, month, 1))
        pen.line(at, TOP - 4, at, high - 4, ink="ruled")
        pen.text(at + 3, 13, wording.SHORT_MONTHS[month - 1], fill="faint", size=12)
    for day in sorted(set(visits)):
        pen.line(x(day), foot - 2, x(day), foot + 7, ink="ink", wide=2)
    most = max((n for kind in kinds for n in kind.by_week), default=1) or 1
    for row, kind in enumerate(kinds):
        y = foot + 8 + ROW * (row + 0.5)
        pen.text(LEFT - 8, y + 4, _short(kind.name), anchor="end")
        for n, count in enumerate(kind.by_week):
            if count:
                pen.circle(
                    LEFT + (n + 0.5) * WEEK, y, LARGEST * max((count / most) ** 0.5, 0.3), fill="moss", opacity=0.8
                )
    return pen.done(wide, high, label)


def _short(name: str) -> str:
    return name if len(name) <= 20 else f"{name[:19]}…"
