"""The activity timelines: one line a site, its past days shaded by how often the cameras were set off.

`draw` makes one line's SVG. Lengths along the line are days, so the drawing stretches to any width; words
stand in the page around it, where they keep their size.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import groupby

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

# Sequences a day, lowest of each shade. A day without any has none. Ours.
SHADES = (1, 3, 6, 11, 21)
UNIT, HEIGHT, TOP, FOOT = 4, 34, 4, 26  # px a day, px, and where the coloured band begins and ends


@dataclass(frozen=True)
class Ahead:
    """What is foretold of a standing camera. start : when it was last known to watch.

    stopped : chance that it has stopped by day 0, 1, 2 … after that. plan_on : the day by which one in ten has
    stopped. words : when it probably stops.
    """

    start: date
    stopped: Sequence[float]
    plan_on: date | None = None
    words: str = ""

    def watches(self, day: date) -> float:
        """Chance that it still watches at the end of a day."""
        return self.span(day, 1)[0]

    def span(self, first: date, days: int) -> list[float]:
        """The same for so many days from the first on."""
        before = min(max(0, (self.start - first).days), days)
        n = max(0, (first - self.start).days)
        known = [1 - p for p in self.stopped[n : n + days - before]]
        rest = days - before - len(known)
        return [1.0] * before + known + [1 - self.stopped[-1] if self.stopped else 1.0] * rest


@dataclass(frozen=True)
class Stay:
    """A deployment on the line. end : None while it stands. known_to : up to when its pictures are at home.

    ahead : its forecast, while it stands. deployment : its slug.
    """

    start: date
    end: date | None
    known_to: date | None
    camera: str = ""
    ahead: Ahead | None = None
    deployment: str = ""


@dataclass(frozen=True)
class Timeline:
    """One line. counts : sequences by local day. gaps : (first, last) days without watching, doubts likewise."""

    name: str
    url: str
    stays: tuple[Stay, ...] = ()
    counts: Mapping[date, int] = field(default_factory=dict)
    gaps: tuple[tuple[date, date], ...] = ()
    doubts: tuple[tuple[date, date], ...] = ()
    visits: tuple[date, ...] = ()

    def days_out(self, first: date, today: date) -> int:
        """Days on which a camera stood here, cameras side by side counted once."""
        days = set()
        for stay in self.stays:
            at, end = max(stay.start, first), min(stay.end or today, today)
            while at <= end:
                days.add(at)
                at += timedelta(days=1)
        return len(days)

    def sentence(self, first: date, today: date) -> str:
        """The line in words."""
        if not self.stays:
            return f"{self.name}: no camera since {_day(first)}."
        sequences = sum(n for day, n in self.counts.items() if first <= day <= today)
        lost = sum((min(b, today) - max(a, first)).days + 1 for a, b in self.gaps if b >= first and a <= today)
        words = [f"{self.name}: a camera on {self.days_out(first, today)} days", f"{sequences} sequences"]
        if lost:
            words.append(f"{lost} days with a gap")
        if self.visits:
            words.append(f"last visit {_day(max(self.visits))}")
        words += [stay.ahead.words for stay in self.stays if stay.ahead and stay.ahead.words]
        return ", ".join(words) + "."


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def shade(sequences: int) -> int:
    """0 for none, else 1 to 5."""
    return sum(sequences >= low for low in SHADES)


def months(first: date, last: date) -> list[tuple[str, float, int | None]]:
    """The axis: (label, place from 0 to 1, the year that begins with it) of each month that begins in the days."""
    span = (last - first).days + 1
    out = []
    at = first if first.day == 1 else (first.replace(day=1) + timedelta(days=32)).replace(day=1)
    while at <= last:
        out.append((f"{at:%b}", (at - first).days / span, at.year if at.month == 1 else None))
        at = (at + timedelta(days=32)).replace(day=1)
    return out


def _band(first: date, last: date, a: date, b: date) -> tuple[int, int] | None:
    """The place of days a…b on the line as (x, width), cut to it; None when they lie outside."""
    a, b = max(a, first), min(b, last)
    if b < a:
        return None
    return (a - first).days * UNIT, ((b - a).days + 1) * UNIT


HATCH = {"gap": ' fill="url(#hatch)"', "doubt": ' fill="url(#hatch-thin)"'}  # drawn once on the page


def _rects(first: date, last: date, spans: Iterable[tuple[date, date]], css: str, top: int, height: int) -> list[str]:
    return [
        f'<rect class="{css}"{HATCH.get(css, "")} x="{band[0]}" y="{top}" width="{band[1]}" height="{height}"/>'
        for a, b in spans
        if (band := _band(first, last, a, b))
    ]


STEPS = 20  # so many steps of fading are told apart


def _fading(ahead: Ahead, first: date, last: date, a: date, b: date, css: str, top: int, height: int) -> list[str]:
    """A band that grows thinner and paler with the chance that the camera still watches, from day a to day b."""
    a, b = max(a, first), min(b, last)
    out: list[str] = []
    if b < a:
        return out
    x = (a - first).days * UNIT
    for step, of in groupby(round(STEPS * p) for p in ahead.span(a, (b - a).days + 1)):
        wide = UNIT * sum(1 for _ in of)
        if step:
            high = height * step / STEPS
            opacity = "" if step == STEPS else f' fill-opacity="{0.25 + 0.75 * step / STEPS:.2f}"'
            y = top + (height - high) / 2
            out.append(f'<rect class="{css}" x="{x}" y="{y:g}" width="{wide}" height="{high:g}"{opacity}/>')
        x += wide
    return out


def draw(timeline: Timeline, *, first: date, last: date, today: date) -> SafeString:
    """One line as an SVG that stretches to the width it is given.

    first, last : the days at its ends. Beyond `today` stands what is foretold, and nothing where that is nothing.
    """
    wide = ((last - first).days + 1) * UNIT
    parts: list[str] = []
    for stay in timeline.stays:
        end = min(stay.end or today, today)
        known = min(stay.known_to, end) if stay.known_to else None
        if known and known >= stay.start:
            parts += _rects(first, last, [(stay.start, known)], "known", TOP, FOOT - TOP)
        begin = max(stay.start, known + timedelta(days=1)) if known else stay.start
        sure = min(end, stay.ahead.start) if stay.ahead else end
        if begin <= sure:
            parts += _rects(first, last, [(begin, sure)], "unread", TOP + 4, FOOT - TOP - 8)
        if stay.ahead:
            since = max(begin, stay.ahead.start + timedelta(days=1))
            parts += _fading(stay.ahead, first, last, since, today, "unread", TOP + 4, FOOT - TOP - 8)
            parts += _fading(stay.ahead, first, last, today + timedelta(days=1), last, "ahead", TOP, FOOT - TOP)
    shaded: dict[int, list[str]] = {}
    for day, sequences in sorted(timeline.counts.items()):
        if first <= day <= min(today, last) and (of := shade(sequences)):
            x = (day - first).days * UNIT
            shaded.setdefault(of, []).append(f"M{x} {TOP}h{UNIT}v{FOOT - TOP}h-{UNIT}z")
    parts += [f'<path class="s{of}" d="{"".join(path)}"/>' for of, path in sorted(shaded.items())]
    parts += _rects(first, last, timeline.doubts, "doubt", TOP, FOOT - TOP)
    parts += _rects(first, last, timeline.gaps, "gap", TOP, FOOT - TOP)
    for stay in timeline.stays:
        for edge, css in ((stay.start, "begin"), (stay.end, "end")):
            if edge is not None and first <= edge <= last:
                x = (edge - first).days * UNIT + (UNIT if css == "end" else 0)
                parts.append(f'<path class="{css}" d="M{x} {TOP - 3}V{FOOT + 3}"/>')
    ticks = "".join(
        f"M{(day - first).days * UNIT + UNIT // 2} {FOOT + 1}V{HEIGHT}"
        for day in sorted(set(timeline.visits))
        if first <= day <= last
    )
    if ticks:
        parts.append(f'<path class="visit" d="{ticks}"/>')
    for stay in timeline.stays:
        on = stay.ahead.plan_on if stay.ahead else None
        if on is not None and first <= on <= last:
            x = (on - first).days * UNIT + UNIT // 2
            parts.append(f'<path class="plan" d="M{x - 2 * UNIT} 1H{x + 2 * UNIT}M{x} 1V{FOOT + 2}"/>')
    if first <= today <= last:
        x = ((today - first).days + 1) * UNIT
        parts.append(f'<path class="today" d="M{x} 0V{HEIGHT}"/>')
    return format_html(
        '<svg class="timeline" viewBox="0 0 {} {}" preserveAspectRatio="none" role="img" aria-label="{}">{}</svg>',
        wide,
        HEIGHT,
        timeline.sentence(first, today),
        mark_safe("".join(parts)),
    )


def hover(timeline: Timeline, *, first: date, last: date) -> str:
    """Sequences of each day from first to last, for the pointer: numbers parted by commas, none left empty."""
    told = [""] * ((last - first).days + 1)
    for day, sequences in timeline.counts.items():
        if sequences and first <= day <= last:
            told[(day - first).days] = str(sequences)
    return ",".join(told)


def hover_ahead(timeline: Timeline, *, today: date, last: date) -> str:
    """The chance in 100 that a camera still watches, for each day after today; empty where nothing is foretold."""
    of = [stay.ahead for stay in timeline.stays if stay.ahead]
    if not of:
        return ""
    days = max(0, (last - today).days)
    spans = [ahead.span(today + timedelta(days=1), days) for ahead in of]
    none = [math.prod(1 - p for p in at) for at in zip(*spans, strict=True)] if len(of) > 1 else None
    both = [1 - p for p in none] if none is not None else spans[0]
    return ",".join([str(round(100 * p)) for p in both])
