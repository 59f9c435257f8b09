"""The chance that a camera still watches, day by day, and what stopped it: a Vega-Lite spec."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trod.report import charts

Floats = NDArray[np.float64]
POINTS = 160
MOST_DAYS = 730
SURE = 0.985  # once so many futures have stopped, the rest of the line tells nothing new
LABEL_FROM = 0.12  # a band is named inside when it is so thick somewhere
BANDS = (
    ("watching", "still watching", "band"),
    ("batteries", "batteries", "effort"),
    ("card", "card full", "twilight-sky"),
    ("fault", "fault or theft", "night-sky"),
)


@dataclass(frozen=True)
class Line:
    """A row of the table beside the chart. [0 to 1]"""

    day: date
    watching: float
    batteries: float
    card: float
    fault: float

    @property
    def of_100(self) -> tuple[str, ...]:
        """Still watching, and what stopped it, in 100."""
        return tuple(
            "–" if p < 0.0005 else "under 1" if p < 0.005 else f"{100 * p:.0f}"
            for p in (self.watching, self.batteries, self.card, self.fault)
        )


def last_day(by_cause: Mapping[str, Floats], *, gone: int) -> int:
    """How many days from the start are worth drawing: until nearly all have stopped, at least two months on."""
    stopped = np.sum(list(by_cause.values()), axis=0)
    over = np.nonzero(stopped >= SURE)[0]
    end = int(over[0]) + 5 if len(over) else MOST_DAYS
    return int(min(len(stopped) - 1, max(end, gone + 60), max(MOST_DAYS, gone + 60)))


def lines(by_cause: Mapping[str, Floats], start: date, *, gone: int) -> list[Line]:
    """The chances on the first of each month and at the ends, for the table."""
    end = last_day(by_cause, gone=gone)
    days = [0, end] + [n for n in range(1, end) if (start + timedelta(days=n)).day == 1]
    return [
        Line(
            start + timedelta(days=n),
            1 - sum(float(by_cause[c][n]) for c in by_cause),
            *(float(by_cause[c][n]) for c in ("batteries", "card", "fault")),
        )
        for n in sorted(set(days))
    ]


def spec(
    by_cause: Mapping[str, Floats], start: date, *, today: date, plan_on: date | None, go_by: date | None, label: str
) -> dict[str, Any]:
    """Bands that add up to one from top to bottom: still watching below, what stopped it above."""
    gone = max(0, (today - start).days)
    end = last_day(by_cause, gone=gone)
    days = np.unique(np.linspace(0, end, min(end + 1, POINTS)).astype(int))
    watching = 1 - np.sum([by_cause[c] for c in by_cause], axis=0)
    low = np.zeros(len(days))
    layers: list[dict[str, Any]] = []
    names: list[tuple[str, Floats, Floats, str]] = []
    for key, words, style in BANDS:
        part = np.clip((watching if key == "watching" else by_cause[key])[days], 0.0, 1.0)
        high = np.minimum(low + part, 1.0)
        if part.max() > 0.002:
            values = [
                {"day": _iso(start, n), "low": round(float(a), 4), "high": round(float(b), 4), "what": words,
                 "chance": f"{100 * float(b - a):.0f} in 100"}
                for n, a, b in zip(days, low, high, strict=True)
            ]  # fmt: skip
            layers.append(_band(values, style))
            if key != "fault":
                layers.append(_edge(values))
            if part.max() >= LABEL_FROM:
                names.append((words, low, high, key))
        low = high
    rules = [(today, "today", "exact", 0)]
    if plan_on is not None and (go_by is None or abs((go_by - plan_on).days) > 0.03 * end):
        rules.append((plan_on, "1 in 10 stopped", "even", 14))
    if go_by is not None and go_by != today:
        rules.append((go_by, "go by", "even", 28))
    for day, words, style, dy in rules:
        if start <= day <= start + timedelta(days=end):
            layers += _rule(day, words, style, dy, right=(day - start).days > 0.75 * end)
    last = max([(day - start).days for day, *_ in rules if day <= start + timedelta(days=end // 2)], default=0)
    layers += [_name(words, days, low, high, start, key, after=last + 0.02 * end) for words, low, high, key in names]
    return {
        "$schema": f"https://vega.github.io/schema/vega-lite/v{charts.VEGALITE}.json",
        "description": label,
        "width": "container",
        "height": 260,
        "layer": layers,
        "resolve": {"scale": {"color": "independent"}},
    }


def _iso(start: date, n: int) -> str:
    return (start + timedelta(days=int(n))).isoformat()


def _x() -> dict[str, Any]:
    axis = {"title": None, "format": "%b %Y", "labelOverlap": True, "tickCount": 8, "grid": False}
    return {"field": "day", "type": "temporal", "axis": axis, "scale": {"nice": False}}


def _y(field: str = "low") -> dict[str, Any]:
    axis = {"title": "of 100 futures", "labelExpr": "datum.value * 100", "tickCount": 5}
    return {"field": field, "type": "quantitative", "scale": {"domain": [0, 1]}, "axis": axis, "title": "of 100 futures"}


def _band(values: list[dict[str, Any]], style: str) -> dict[str, Any]:
    shown = [
        {"field": "day", "type": "temporal", "title": "day", "format": "%-d %B %Y"},
        {"field": "what", "title": "it is"},
        {"field": "chance", "title": "chance"},
    ]
    return {
        "data": {"values": values},
        "mark": {"type": "area", "style": style},
        "encoding": {"x": _x(), "y": _y(), "y2": {"field": "high"}, "tooltip": shown},
    }


def _edge(values: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "data": {"values": values},
        "mark": {"type": "line", "style": "line", "interpolate": "linear"},
        "encoding": {"x": _x(), "y": _y("high")},
    }


def _name(words: str, days: Floats, low: Floats, high: Floats, start: date, key: str, *, after: float) -> dict[str, Any]:
    """A band's name inside it: near its thickest place, off the edges of the drawing and off the lines."""
    inner = np.arange(len(days))
    inside = (inner >= 0.1 * len(days)) & (inner <= 0.82 * len(days))
    thick = np.where(inside, high - low, -1.0)
    best = int(np.argmax(thick))
    if key == "watching":  # low down, where its lines do not pass
        best, middle = min(int(np.searchsorted(days, after)), len(days) - 1), 0.08
    else:
        middle = float(low[best] + high[best]) / 2
    return {
        "data": {"values": [{"day": _iso(start, int(days[best])), "low": round(middle, 3), "what": words}]},
        "mark": {"type": "text", "style": "figure", "align": "left" if key == "watching" else "center"},
        "encoding": {"x": _x(), "y": _y(), "text": {"field": "what"}},
    }


def _rule(day: date, words: str, style: str, dy: int, *, right: bool) -> list[dict[str, Any]]:
    data = {"values": [{"day": day.isoformat(), "what": words, "top": 1}]}
    side = {"align": "right", "dx": -5} if right else {"align": "left", "dx": 5}
    return [
        {"data": data, "mark": {"type": "rule", "style": style}, "encoding": {"x": _x()}},
        {
            "data": data,
            "mark": {"type": "text", "style": "figure", "baseline": "top", "dy": 4 + dy, **side},
            "encoding": {"x": _x(), "y": _y("top"), "text": {"field": "what"}},
        },
    ]
