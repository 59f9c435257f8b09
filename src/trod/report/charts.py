"""Findings as Vega-Lite specs: one style for page, night and paper; and the same specs as SVG.

Marks carry names of styles, never colours; a theme's config gives those names their colours, so one spec
serves the page by day, the page by night and the printed report. What matters is told by shape, place or
hatching as well as by tone, so a chart survives a black-and-white printer and colour blindness.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Literal, get_args

import altair as alt
import vl_convert

from trod import wording
from trod.drawing import palette
from trod.errors import WrongInput
from trod.findings.finding import Finding
from trod.report.sentences import clean

Theme = palette.Tone
THEMES: tuple[Theme, ...] = get_args(Theme)
Spec = dict[str, Any]
# The Vega-Lite that altair's schema speaks; vl_convert must draw with the same one.
VEGALITE = ".".join(alt.SCHEMA_VERSION.lstrip("v").split(".")[:2])
PAPER_WIDTH_PX = 460
ROW_PX, PAPER_ROW_PX = 38, 30

_FONTS: dict[str, str] = {
    "light": "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', sans-serif",
    "night": "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', sans-serif",
    "paper": "Libertinus Serif, Georgia, serif",
}


def config(theme: Theme = "light") -> Spec:
    """The Vega-Lite config of a theme: fonts, axes, and the colours behind the names of styles."""
    if theme not in palette.TONES:
        raise WrongInput("theme", got=theme, needed="light, night or paper")
    tone, font = palette.TONES[theme], _FONTS[theme]
    size = 10 if theme == "paper" else 12
    return {
        "background": "transparent",
        "font": font,
        "view": {"stroke": None},
        "axis": {
            "labelColor": tone["faint"],
            "titleColor": tone["faint"],
            "labelFontSize": size,
            "titleFontSize": size,
            "titleFontWeight": "normal",
            "gridColor": tone["ruled"],
            "gridWidth": 0.6,
            "domain": False,
            "tickColor": tone["ruled"],
            "tickSize": 3,
            "labelPadding": 4,
            "titlePadding": 8,
        },
        "style": {
            "dot": {"color": tone["moss"], "opacity": 1, "size": 70, "filled": True},
            "range": {"color": tone["moss"], "strokeWidth": 2.5, "strokeCap": "round", "opacity": 1},
            "exact": {"color": tone["ink"], "opacity": 1},
            "none": {"color": tone["clay"], "size": 70, "filled": True, "opacity": 1},
            "line": {"color": tone["moss"], "strokeWidth": 2},
            "other-line": {"color": tone["clay"], "strokeWidth": 2, "strokeDash": [6, 4]},
            "band": {"color": tone["band"], "opacity": 0.6},
            "even": {"color": tone["faint"], "strokeWidth": 1, "strokeDash": [3, 3]},
            "rug": {"color": tone["ink"], "strokeWidth": 0.8, "opacity": 0.3},
            "night-sky": {"color": tone["night-sky"], "opacity": 1},
            "twilight-sky": {"color": tone["twilight-sky"], "opacity": 1},
            "effort": {"color": tone["faint"], "opacity": 0.45},
            "note": {"color": tone["faint"], "fontSize": size, "font": font},
            "figure": {"color": tone["ink"], "fontSize": size, "font": font},
        },
    }


def chart(
    finding: Finding, theme: Theme = "light", *, by: Literal["sun", "clock"] = "sun", label: str = ""
) -> Spec | None:
    """The finding's chart as a Vega-Lite spec; None when there is nothing to draw.

    theme : light and night fill their container's width; paper has a fixed one.
    by : for "when", by the sun's clock (where there is one) or by the wall clock.
    label : what the chart shows, for its alt text; the finding's own sentence when left out.
    """
    drawn: alt.LayerChart | alt.FacetChart | None
    if finding.kind == "what-comes":
        drawn, height = _what_comes(finding, PAPER_ROW_PX if theme == "paper" else ROW_PX), None
    elif finding.kind == "when":
        drawn, height = _when(finding, by), 175 if theme == "paper" else 210
    elif finding.kind == "change":
        drawn, height = _change(finding), 195 if theme == "paper" else 240
    elif finding.kind == "overlap":
        drawn, height = _overlap(finding), 175 if theme == "paper" else 210
    else:
        raise WrongInput("kind", got=finding.kind, needed="what-comes, when, change or overlap")
    if drawn is None:
        return None
    width: Any = PAPER_WIDTH_PX if theme == "paper" else "container"
    drawn = drawn.properties(width=width, description=label or f"{finding.sentence} {finding.filter_sentence}.")
    if height:
        drawn = drawn.properties(height=height)
    spec: Spec = drawn.to_dict()
    spec["config"] = config(theme)
    spec["autosize"] = {"type": "fit-x" if theme != "paper" else "pad", "contains": "padding"}
    return spec


def svg(spec: Mapping[str, Any]) -> str:
    """A spec as SVG, drawn here without a browser and without the network.

    Control characters in names, which SVG cannot hold, become blanks.
    """
    fixed = dict(spec)
    if fixed.get("width") == "container":
        fixed["width"] = PAPER_WIDTH_PX
        fixed["autosize"] = {"type": "pad", "contains": "padding"}
    drawn: str = vl_convert.vegalite_to_svg(
        json.dumps(clean(fixed), allow_nan=False), vl_version=VEGALITE, allowed_base_urls=[]
    )
    return drawn


def _data(values: list[dict[str, Any]]) -> alt.InlineData:
    return alt.InlineData(values=values)


def _what_comes(finding: Finding, row_px: int) -> alt.LayerChart | alt.FacetChart | None:
    """Dot and range per species, most frequent on top; ticks where the exact Poisson limits lie."""
    rows = [row for row in finding.rows if row["rate"] is not None]
    if not rows:
        return None
    lows = [row["low"] for row in rows if row["low"] > 0]
    log = _by_tens(rows)
    scale = (
        alt.Scale(type="log", domain=[_floor_step(min(lows)), _ceil_step(max(row["high"] for row in rows))])
        if log
        else alt.Scale(zero=True, nice=True)
    )
    names = [row["species"] for row in rows]
    order = [
        name if names.count(name) == 1 else f"{name} ({row['species_key']})"
        for name, row in zip(names, rows, strict=True)
    ]
    values = [
        {
            "species": label,
            "rate": row["rate"],
            "low": row["low"],
            "high": row["high"],
            "exact_low": row["exact_low"],
            "exact_high": row["exact_high"],
            "figure": wording.number(row["rate"]) if row["detections"] else f"none; under {wording.number(row['high'])}",
            "told": f"{wording.number(row['rate'])} ({wording.between(row['low'], row['high'])})",
            "detections": row["detections"],
            "seen": row["detections"] > 0,
        }
        for row, label in zip(rows, order, strict=True)
    ]
    y = alt.Y("species:N", sort=order, title=None, axis=alt.Axis(grid=False, ticks=False, labelLimit=130))
    tooltip = [
        alt.Tooltip("species:N", title="Species"),
        alt.Tooltip("detections:Q", title="Detections"),
        alt.Tooltip("told:N", title="Per 100 camera-days"),
    ]
    title = "Detections per 100 camera-days"
    base = alt.Chart(_data(values)).encode(y=y, tooltip=tooltip)
    axis = (
        alt.Axis(title=title, labelExpr=_AS_IT_IS, values=_decades(scale))
        if log
        else alt.Axis(title=title, labelExpr=_AS_IT_IS, tickCount=5)
    )
    layers = [
        base.mark_rule(style="range").encode(x=alt.X("low:Q", scale=scale, axis=axis), x2="high:Q"),
        base.transform_filter("datum.seen").mark_tick(style="exact", height=9, thickness=1.2).encode(x="exact_low:Q"),
        base.transform_filter("datum.seen").mark_tick(style="exact", height=9, thickness=1.2).encode(x="exact_high:Q"),
        base.transform_filter("datum.seen").mark_point(style="dot").encode(x="rate:Q"),
        base.transform_filter("!datum.seen").mark_point(style="none", shape="triangle-left").encode(x="high:Q"),
        base.transform_filter("datum.seen").mark_text(style="figure", dy=-11).encode(x="rate:Q", text="figure:N"),
        base.transform_filter("!datum.seen")
        .mark_text(style="figure", align="left", dx=9)
        .encode(x="high:Q", text="figure:N"),
    ]
    return alt.layer(*layers).properties(height=alt.Step(row_px))


def _by_tens(rows: Sequence[Mapping[str, Any]]) -> bool:
    """Whether the rates are so far apart that a scale in steps of ten serves better; none may be nought."""
    rates = [row["rate"] for row in rows if row["rate"] is not None]
    return bool(rates) and min(rates) > 0 and max(rates) / min(rates) > 20


def _floor_step(value: float) -> float:
    return 10.0 ** math.floor(math.log10(value))


def _ceil_step(value: float) -> float:
    return 10.0 ** math.ceil(math.log10(value))


def _decades(scale: alt.Scale) -> list[float]:
    low, high = scale.domain
    return [10.0**power for power in range(round(math.log10(low)), round(math.log10(high)) + 1)]


def _since_noon(hour: float) -> float:
    return (hour - 12.0) % 24.0


def _when(finding: Finding, by: str) -> alt.LayerChart | alt.FacetChart | None:
    """The day from noon to noon, so that the night is whole and in the middle; curve, band, sky and rug."""
    series = finding.series
    if by == "sun" and _by_height(series):
        return _heights(series["heights"])
    curve = series.get("sun") if by == "sun" and series.get("sun") else series.get("clock")
    if not curve:
        return None
    by_sun = curve is series.get("sun")
    order = sorted(range(len(curve["hours"])), key=lambda n: _since_noon(curve["hours"][n]))
    points = [
        {
            "h": _since_noon(curve["hours"][n]),
            **{
                name: None if curve[key][n] is None else 100 * curve[key][n]
                for name, key in (("y", "density"), ("low", "low"), ("high", "high"))
            },
            "clock": wording.clock(curve["hours"][n]),
        }
        for n in order
    ]
    watched = [100 * high for high in curve["high"] if high is not None]
    top = 1.08 * max(watched)
    even_share = 100 / 24 * len(points) / len(watched)
    rug = [{"h": _since_noon(hour)} for hour in (series["rug_sun_h"] if by_sun else series["rug_clock_h"])[:1500]]
    x_axis = alt.Axis(
        title=("Time of day, sun time" if by_sun else "Time of day by the clock"),
        values=list(range(0, 25, 3)),
        labelExpr="(datum.value + 12) % 24 + ':00'",
        grid=False,
        labelOverlap=True,
    )
    x = alt.X("h:Q", scale=alt.Scale(domain=[0, 24], nice=False), axis=x_axis)
    y_axis = alt.Axis(title="Share of activity per hour, %", tickCount=5)
    y_scale = alt.Scale(domain=[-0.09 * top, top], nice=False)
    layers: list[alt.Chart] = []
    for style, spans in _skies(series):
        if spans:
            layers.append(
                alt.Chart(_data(spans))
                .mark_rect(style=style)
                .encode(x=alt.X("from:Q", scale=alt.Scale(domain=[0, 24], nice=False), axis=x_axis), x2="to:Q")
            )
    even = alt.Chart(_data([{"y": even_share}])).mark_rule(style="even").encode(y=alt.Y("y:Q", scale=y_scale))
    curve_base = alt.Chart(_data(points)).encode(x=x)
    y = alt.Y("y:Q", scale=y_scale, axis=y_axis)
    layers += [
        even,
        curve_base.mark_area(style="band").encode(y=alt.Y("low:Q", scale=y_scale, axis=y_axis), y2="high:Q"),
        curve_base.mark_line(style="line").encode(
            y=y,
            tooltip=[
                alt.Tooltip("clock:N", title="Time"),
                alt.Tooltip("y:Q", title="% per hour", format=".2~f"),
            ],
        ),
        alt.Chart(_data(rug)).mark_rule(style="rug", opacity=min(0.35, 100 / max(len(rug), 1))).encode(
            x=x, y=alt.datum(-0.085 * top, type="quantitative"), y2=alt.datum(-0.02 * top)
        ),
        alt.Chart(_data([{"h": 0.15, "y": even_share, "text": "an even day"}]))
        .mark_text(style="note", align="left", dy=-6)
        .encode(x=x, y=y, text="text:N"),
    ]  # fmt: skip
    return alt.layer(*layers)


def _by_height(series: Mapping[str, Any]) -> bool:
    """Whether the sun's height is what can be drawn: where it does not both rise and set on all days."""
    return not series.get("sun") and bool(series.get("heights"))


def _heights(parts: Sequence[Mapping[str, Any]]) -> alt.LayerChart | alt.FacetChart:
    """Detections per hour against the sun's height, over those of an even day, each part with its interval."""
    rows = [part for part in parts if part["low"] is not None]
    top = 1.08 * max(min(part["high"], 3 * max(p["against_even"] for p in rows)) for part in rows)
    values = [
        {
            "from": part["from_deg"], "to": part["to_deg"], "y": part["against_even"], "low": part["low"],
            "high": min(part["high"], top),
        }
        for part in rows
    ]  # fmt: skip
    ends = [min(part["from_deg"] for part in rows), max(part["to_deg"] for part in rows)]
    x = alt.X(
        "from:Q", scale=alt.Scale(domain=ends, nice=False), axis=alt.Axis(title="Height of the sun, °", grid=False)
    )
    y_scale = alt.Scale(domain=[0, top], nice=False)
    y_axis = alt.Axis(title="Detections per hour, an even day is 1", tickCount=5)
    base = alt.Chart(_data(values)).encode(x=x, x2="to:Q")
    return alt.layer(
        base.mark_rect(style="band").encode(y=alt.Y("low:Q", scale=y_scale, axis=y_axis), y2="high:Q"),
        base.mark_rule(style="line").encode(y=alt.Y("y:Q", scale=y_scale, axis=y_axis)),
        alt.Chart(_data([{"y": 1}])).mark_rule(style="even").encode(y=alt.Y("y:Q", scale=y_scale)),
    )


def _overlap(finding: Finding) -> alt.LayerChart | alt.FacetChart | None:
    """Both curves from noon to noon, and what lies under both."""
    series = finding.series.get("overlap")
    if not series:
        return None
    points = sorted(
        (
            {"h": _since_noon(hour), "first": 100 * a, "second": 100 * b, "both": 100 * min(a, b)}
            for hour, a, b in zip(series["hours"], series["first"], series["second"], strict=True)
        ),
        key=lambda point: point["h"],
    )
    top = 1.15 * max(max(point["first"], point["second"]) for point in points)
    x_axis = alt.Axis(
        title="Time of day, sun time" if series["by_sun"] else "Time of day by the clock",
        values=list(range(0, 25, 3)),
        labelExpr="(datum.value + 12) % 24 + ':00'",
        grid=False,
        labelOverlap=True,
    )
    x = alt.X("h:Q", scale=alt.Scale(domain=[0, 24], nice=False), axis=x_axis)
    y_scale = alt.Scale(domain=[0, top], nice=False)
    y_axis = alt.Axis(title="Share of activity per hour, %", tickCount=5)
    layers: list[alt.Chart] = [
        alt.Chart(_data(spans))
        .mark_rect(style=style)
        .encode(x=alt.X("from:Q", scale=alt.Scale(domain=[0, 24], nice=False), axis=x_axis), x2="to:Q")
        for style, spans in _skies(series)
        if spans
    ]
    base = alt.Chart(_data(points)).encode(x=x)
    layers.append(base.mark_area(style="band").encode(y=alt.Y("both:Q", scale=y_scale, axis=y_axis)))
    for key, style in (("first", "line"), ("second", "other-line")):
        layers.append(base.mark_line(style=style).encode(y=alt.Y(f"{key}:Q", scale=y_scale, axis=y_axis)))
    return alt.layer(*layers)


def _skies(series: Mapping[str, Any]) -> list[tuple[str, list[dict[str, float]]]]:
    """Night and twilight as stretches of the noon-to-noon axis."""
    rise, sunset = series.get("mean_sunrise_h"), series.get("mean_sunset_h")
    if rise is None or sunset is None:
        return []
    dusk, dawn = series.get("dusk_length_h", 0.0), series.get("dawn_length_h", 0.0)
    set_at, rise_at = _since_noon(sunset), _since_noon(rise)
    if set_at >= rise_at:  # an odd zone, whose clock noon is the sun's night: leave the sky out
        return []
    night = [{"from": set_at + dusk, "to": rise_at - dawn}]
    twilight = [{"from": set_at, "to": set_at + dusk}, {"from": rise_at - dawn, "to": rise_at}]
    return [
        ("night-sky", [s for s in night if s["to"] > s["from"]]),
        ("twilight-sky", [s for s in twilight if s["to"] > s["from"]]),
    ]


def _change(finding: Finding) -> alt.LayerChart | alt.FacetChart | None:
    """Rate by month with its interval; beneath, hanging from the zero line, how long cameras watched."""
    rows = list(finding.rows)
    shown = [row for row in rows if row["rate"] is not None]
    if not shown:
        return None
    # A month of very little effort must not squeeze the others flat: its interval is cut, with an arrow.
    top = min(max(row["high"] for row in shown), max(1.25 * max(row["rate"] for row in shown), _middle_high(shown)))
    top = top or 1.0
    most = max(row["camera_days"] for row in rows) or 1.0
    strip_top, strip = -0.17 * top, 0.17 * top  # the strip of effort hangs below zero, under its own heading
    values = [
        {
            "month": row["month"],
            "name": wording.month(date.fromisoformat(f"{row['month']}-01")),
            "rate": row["rate"],
            "low": row["low"],
            "high": None if row["high"] is None else min(row["high"], top),
            "cut": row["high"] is not None and row["high"] > top,
            "detections": row["detections"],
            "days": row["camera_days"],
            "cross": 0.05 * top,
            "strip_from": strip_top,
            "strip_to": strip_top - strip * row["camera_days"] / most,
            "told": (
                f"{wording.number(row['rate'])} ({wording.between(row['low'], row['high'])})"
                if row["rate"] is not None
                else "too little effort"
            ),
        }
        for row in rows
    ]
    ticks = [tick for tick in _nice_ticks(top) if tick <= top]
    heading = f"Camera-days watched, at most {wording.number(most)} a month"
    y_scale = alt.Scale(domain=[strip_top - strip, 1.04 * top], nice=False)
    y_axis = alt.Axis(title="Detections per 100 camera-days", values=ticks, labelExpr=_AS_IT_IS)
    bandpad = alt.X(
        "month:O",
        sort=None,
        axis=alt.Axis(
            title=None,
            grid=False,
            ticks=False,
            values=_told_months([row["month"] for row in rows]),
            labelExpr="datum.index == 0 || slice(datum.value, 5) == '01' "
            f"? [{_MONTH_NAME}, slice(datum.value, 0, 4)] : {_MONTH_NAME}",
            labelAngle=0,
            labelOverlap=False,
        ),
    )
    tooltip = [
        alt.Tooltip("name:N", title="Month"),
        alt.Tooltip("told:N", title="Per 100 camera-days"),
        alt.Tooltip("detections:Q", title="Detections"),
        alt.Tooltip("days:Q", title="Camera-days", format=".0f"),
    ]
    base = alt.Chart(_data(values)).encode(x=bandpad, tooltip=tooltip)
    known = base.transform_filter("isValid(datum.rate)")
    layers = [
        base.mark_bar(style="effort").encode(
            y=alt.Y("strip_from:Q", scale=y_scale, axis=y_axis), y2="strip_to:Q"
        ),
        known.mark_rule(style="range").encode(y=alt.Y("low:Q", scale=y_scale, axis=y_axis), y2="high:Q"),
        known.mark_point(style="dot").encode(y=alt.Y("rate:Q", scale=y_scale, axis=y_axis)),
        base.transform_filter("!isValid(datum.rate)").mark_text(style="note", text="×").encode(
            y=alt.Y("cross:Q", scale=y_scale, axis=y_axis)
        ),
        known.transform_filter("datum.cut")
        .mark_point(style="dot", shape="triangle-up")
        .encode(y=alt.Y("high:Q", scale=y_scale, axis=y_axis)),
        alt.Chart(_data([{"text": heading, "y": strip_top}]))
        .mark_text(style="note", align="left", baseline="bottom", dy=-3)
        .encode(x=alt.value(0), y=alt.Y("y:Q", scale=y_scale, axis=y_axis), text="text:N"),
    ]  # fmt: skip
    return alt.layer(*layers)


# An axis with a `format` alone rounds its labels to the step that it would have chosen itself: 2.5 becomes 3.
_AS_IT_IS = "format(datum.value, ',~f')"
_MONTH_NAME = f"{json.dumps([name[:3] for name in wording.MONTHS])}[toNumber(slice(datum.value, 5)) - 1]"


def _told_months(months: list[str]) -> list[str]:
    """Those whose names stand below the axis: all, each quarter's first, each January; so that they fit."""
    if len(months) <= 12:
        return months
    wanted = ("01", "04", "07", "10") if len(months) <= 36 else ("01",)
    return [month for month in months if month[5:] in wanted] or months[:1]


def _middle_high(rows: list[Mapping[str, Any]]) -> float:
    """Half as much again as the middle month's upper end; of two middle ones the lower."""
    highs = sorted(row["high"] for row in rows)
    return 1.5 * float(highs[(len(highs) - 1) // 2])


def _nice_ticks(top: float) -> list[float]:
    raw = top / 4
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= raw)
    return [round(step * n, 10) for n in range(6)]


def caption(finding: Finding) -> str:
    """What the marks of the finding's chart mean, in a sentence or two."""
    if finding.kind == "what-comes":
        tens = " Each step of the scale is ten times the one before." if _by_tens(finding.rows) else ""
        return (
            "Dot: detections per 100 camera-days. Line: 95 % interval, allowing for detections that come in runs. "
            f"Ticks: exact Poisson limits, for single detections.{tens}"
        )
    if finding.kind == "when":
        if _by_height(finding.series):
            return (
                "By the height of the sun, which does not both rise and set on all these days. Line: detections per "
                "hour watched, over those of all hours. Band: 95 %, counting what comes together once. Dashed: an even "
                "day."
            )
        sun = ""
        if finding.series.get("sun"):
            sun = " Sun time: every day's sunrise and sunset are brought to their means."
        shaded = (
            " Shaded: night, lighter at both sides twilight." if finding.series.get("mean_sunset_h") is not None else ""
        )
        return (
            f"From noon to noon.{sun} Band: 95 % at each hour, counting what comes together once. Dashed: activity "
            f"spread evenly over the day. Strokes below: single detections.{shaded}"
        )
    if finding.kind == "overlap" and finding.series.get("overlap"):
        first, second = finding.series["overlap"]["names"]
        return f"From noon to noon. Whole line: {first}. Dashed: {second}. Shaded: the hours both keep."
    return (
        "Dot and line: rate of the month with its 95 % interval; an arrowhead where it goes on beyond the drawing, a "
        "cross where cameras watched for less than a day. Below: how long cameras watched."
    )
