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

from trod import wording
from trod.drawing.pen import Pen, Svg, shape

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
            return f"{self.name}: no camera since {wording.short_day(first)}."
        sequences = sum(n for day, n in self.counts.items() if first <= day <= today)
        lost = sum((min(b, today) - max(a, first)).days + 1 for a, b in self.gaps if b >= first and a <= today)
        words = [
            f"{self.name}: a camera on {wording.plural(self.days_out(first, today), 'day')}",
            wording.plural(sequences, "sequence"),
        ]
        if lost:
            words.append(f"{wording.plural(lost, 'day')} with a gap")
        if self.visits:
            words.append(f"last visit {wording.short_day(max(self.visits))}")
        words += [stay.ahead.words for stay in self.stays if stay.ahead and stay.ahead.words]
        return ", ".join(words) + "."


def shade(sequences: int) -> int:
    """0 for none, else 1 to 5."""
    return sum(sequences >= low for low in SHADES)


def months(first: date, last: date) -> list[tuple[str, float, int | None]]:
    """The axis: (label, place from 0 to 1, the year that begins with it) of each month that begins in the days."""
    span = (last - first).days + 1
    out = []
    at = first if first.day == 1 else (first.replace(day=1) + timedelta(days=32)).replace(day=1)
    while at <= last:
        out.append((wording.SHORT_MONTHS[at.month - 1], (at - first).days / span, at.year if at.month == 1 else None))
        at = (at + timedelta(days=32)).replace(day=1)
    return out


KEY = "timelines"
# What fills the silences: defined once on a page, by `hatchings`.
HATCHED = {"gap": f"url(#{KEY}-gap)", "doubt": f"url(#{KEY}-doubt)"}


def hatchings() -> Svg:
    """The hatchings that the lines of a page fill with; nothing to be seen."""
    pen = Pen(key=KEY)
    pen.hatch("gap", ink="clay", ground="clay-wash", gap=14, wide=5)
    pen.hatch("doubt", ink="clay", turn=-45, gap=18, wide=2.5)
    return pen.done(0, 0, css="sr", width=0, height=0)


@dataclass(frozen=True)
class _Band:
    """A strip along the line's days; `first` and `last` are those at its ends."""

    pen: Pen
    first: date
    last: date

    def x(self, day: date) -> int:
        return (day - self.first).days * UNIT

    def holds(self, day: date | None) -> bool:
        return day is not None and self.first <= day <= self.last

    def rects(self, spans: Iterable[tuple[date, date]], css: str, top: int = TOP, foot: int = FOOT) -> None:
        """Spans of days as rectangles, cut to the line."""
        for a, b in spans:
            a, b = max(a, self.first), min(b, self.last)
            if a <= b:
                wide = ((b - a).days + 1) * UNIT
                self.pen.rect(self.x(a), top, wide, foot - top, css=css, fill=HATCHED.get(css))

    def fading(self, ahead: Ahead, a: date, b: date, css: str, top: int = TOP, foot: int = FOOT) -> None:
        """A band that grows thinner and paler with the chance that the camera still watches, from day a to day b."""
        a, b = max(a, self.first), min(b, self.last)
        if b < a:
            return
        x = self.x(a)
        for step, of in groupby(round(STEPS * p) for p in ahead.span(a, (b - a).days + 1)):
            wide = UNIT * sum(1 for _ in of)
            if step:
                high = (foot - top) * step / STEPS
                opacity = None if step == STEPS else 0.25 + 0.75 * step / STEPS
                self.pen.rect(x, (top + foot - high) / 2, wide, high, css=css, opacity=opacity)
            x += wide


STEPS = 20  # so many steps of fading are told apart


def draw(timeline: Timeline, *, first: date, last: date, today: date) -> Svg:
    """One line as an SVG that stretches to the width it is given.

    first, last : the days at its ends. Beyond `today` stands what is foretold, and nothing where that is nothing.
    """
    pen = Pen(key=KEY)
    band = _Band(pen, first, last)
    for stay in timeline.stays:
        end = min(stay.end or today, today)
        known = min(stay.known_to, end) if stay.known_to else None
        if known and known >= stay.start:
            band.rects([(stay.start, known)], "known")
        begin = max(stay.start, known + timedelta(days=1)) if known else stay.start
        band.rects([(begin, min(end, stay.ahead.start) if stay.ahead else end)], "unread", TOP + 4, FOOT - 4)
        if stay.ahead:
            since = max(begin, stay.ahead.start + timedelta(days=1))
            band.fading(stay.ahead, since, today, "unread", TOP + 4, FOOT - 4)
            band.fading(stay.ahead, today + timedelta(days=1), last, "ahead")
    shaded: dict[int, list[str]] = {}
    for day, sequences in sorted(timeline.counts.items()):
        if first <= day <= min(today, last) and (of := shade(sequences)):
            square = shape("M", band.x(day), TOP, "h", UNIT, "v", FOOT - TOP, "h", -UNIT, "z")
            shaded.setdefault(of, []).append(square)
    for of, squares in sorted(shaded.items()):
        pen.path("".join(squares), css=f"s{of}")
    band.rects(timeline.doubts, "doubt")
    band.rects(timeline.gaps, "gap")
    for stay in timeline.stays:
        for edge, css in ((stay.start, "begin"), (stay.end, "end")):
            if edge is not None and band.holds(edge):
                x = band.x(edge) + (UNIT if css == "end" else 0)
                pen.path(shape("M", x, TOP - 3, "V", FOOT + 3), css=css)
    visits = [band.x(day) + UNIT // 2 for day in sorted(set(timeline.visits)) if band.holds(day)]
    if visits:
        pen.path("".join(shape("M", x, FOOT + 1, "V", HEIGHT) for x in visits), css="visit")
    for stay in timeline.stays:
        on = stay.ahead.plan_on if stay.ahead else None
        if on is not None and band.holds(on):
            x = band.x(on) + UNIT // 2
            pen.path(shape("M", x - 2 * UNIT, 1, "H", x + 2 * UNIT, "M", x, 1, "V", FOOT + 2), css="plan")
    if band.holds(today):
        pen.path(shape("M", band.x(today) + UNIT, 0, "V", HEIGHT), css="today")
    wide, words = band.x(last) + UNIT, timeline.sentence(first, today)
    return pen.done(wide, HEIGHT, words, css="timeline", preserveAspectRatio="none")


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
