"""What the Questions page holds: the answer as words, table, chart and the ways on from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Literal

from django.urls import reverse

from trod import wording
from trod.catalogue.answers import answers
from trod.catalogue.answers.answers import Answer
from trod.report import charts
from trod.web.shared.spans import seasons

INTERVALS_MIN = (0, 5, 15, 30, 60, 120, 1440)
USUAL_EVERY_MIN = 30.0  # where nothing is asked; left out of an address
HEADINGS = {"species": "Species", "light": "Light", "month": "Month"}


@dataclass(frozen=True)
class Cell:
    """One cell. small : its interval, beneath. url : to the pictures behind it. number : set to the right."""

    text: str
    small: str = ""
    url: str = ""
    number: bool = True


@dataclass(frozen=True)
class Heading:
    title: str
    small: str = ""
    number: bool = True


@dataclass(frozen=True)
class Table:
    headings: tuple[Heading, ...] = ()
    rows: tuple[tuple[Cell, ...], ...] = ()


@dataclass(frozen=True)
class Door:
    """A way to another question or another period."""

    label: str
    url: str
    here: bool = False


@dataclass(frozen=True)
class Drawn:
    """A chart for the page. rows : of the table it draws. ways : the same by sun and by clock."""

    spec: Mapping[str, Any]
    label: str
    caption: str = ""
    rows: int = 1
    ways: tuple[Door, ...] = ()


@dataclass(frozen=True)
class Page:
    """The page of one answer."""

    answer: Answer
    table: Table
    drawn: Drawn | None
    doors: tuple[Door, ...]
    shortcuts: tuple[Door, ...]
    number: str = ""
    intervals: tuple[str, ...] = ()
    rests: tuple[tuple[str, str], ...] = ()
    sites: tuple[tuple[str, str], ...] = ()
    statistics: tuple[tuple[str, str], ...] = ()
    urls: Mapping[str, str] = field(default_factory=dict)


def make(answer: Answer, *, by: str, site_names: Mapping[str, str], latitude_deg: float, today: date) -> Page:
    """The page of an answer. by : for "when", sun or clock."""
    query = answers.query(answer.filter)
    here = reverse("questions:question", args=[answer.kind])
    finding = answer.finding
    return Page(
        answer=answer,
        table=table_of(_plain(finding), answer.kind, query) if finding else Table(),
        drawn=_drawn(answer, by, here, query),
        doors=doors(query, answer.kind),
        shortcuts=shortcuts(answer, here, latitude_deg, today),
        number=number_of(finding) if finding else "",
        intervals=intervals_of(finding) if finding else (),
        rests=rests(answer),
        sites=tuple(
            (site_names.get(site, site), wording.number(days))
            for site, days in (finding.effort["by_site"] if finding else {}).items()
        ),
        statistics=_statistics(finding),
        urls={
            "json": _url(f"{here}.json", query),
            "csv": _url(f"{here}.csv", query),
            "behind": _url(reverse("questions:behind", args=[answer.kind]), query),
        },
    )


# Beside the three questions, pages that take the same filter.
BESIDE = {"first-last": "What came first and last?", "side-by-side": "Side by side"}


def doors(query: str, here: str) -> tuple[Door, ...]:
    """The ways between the questions, all with the same filter. here : the one that is open."""
    asked = [(reverse("questions:question", args=[kind]), kind, title) for kind, title in answers.TITLES.items()]
    asked += [(reverse(f"questions:{kind}"), kind, title) for kind, title in BESIDE.items()]
    return tuple(Door(title, _url(url, query), kind == here) for url, kind, title in asked)


def _plain(finding: Any) -> dict[str, Any]:
    """What the table needs, in the shape in which findings are kept, without a copy of all names."""
    return {
        "columns": [{"key": c.key, "title": c.title, "kind": c.kind, "unit": c.unit} for c in finding.columns],
        "rows": finding.rows,
    }


def _url(path: str, query: str, **more: str) -> str:
    words = "&".join([*([query] if query else []), *(f"{k}={v}" for k, v in more.items())])
    return f"{path}?{words}" if words else path


# --- the table -------------------------------------------------------------------------------------


def table_of(plain: Mapping[str, Any], kind: str, query: str | None) -> Table:
    """The finding's table for people: an interval stands under its number, a count opens its pictures.

    plain : a finding as plain values. query : the filter's address; None when there is nothing to be opened.
    """
    columns = {c["key"]: c for c in plain["columns"]}
    shown = [key for key in columns if key not in ("low", "high", "exact_low", "exact_high")]
    if "exact_low" in columns:
        shown.insert(shown.index("rate") + 1, "exact_low")
    where = reverse("questions:behind", args=[kind])
    key_of = answers.ROW_KEY[kind]
    return Table(
        headings=tuple(_heading(columns[key], key, "low" in columns) for key in shown),
        rows=tuple(
            tuple(
                _cell(
                    row,
                    key,
                    columns[key]["kind"],
                    _url(where, query, row=str(row[key_of])) if query is not None and row.get("sequence_keys") else "",
                    with_interval="low" in columns,
                )
                for key in shown
            )
            for row in plain["rows"]
        ),
    )


def _heading(column: Mapping[str, Any], key: str, with_interval: bool) -> Heading:
    if key == "exact_low":
        return Heading("Exact Poisson limits", column["unit"])
    small = column["unit"]
    if key in ("rate", "share") and with_interval:
        small = f"{small}, with its interval" if small else "with its interval"
    return Heading(column["title"], small, column["kind"] not in ("name", "text", "date"))


def _cell(row: Mapping[str, Any], key: str, kind: str, url: str, *, with_interval: bool) -> Cell:
    value = row.get(key)
    if key == "exact_low":
        return Cell("–" if value is None else wording.between(value, row["exact_high"]))
    if value is None:
        return Cell("–", number=kind not in ("name", "text", "date"))
    if kind == "count":
        return Cell(wording.count(int(value)), url=url if key in ("detections", "sequences") and value else "")
    if kind == "date":
        text = str(value)
        return Cell(
            wording.month(date.fromisoformat(f"{text}-01"))
            if len(text) == 7
            else wording.short_day(date.fromisoformat(text)),
            number=False,
        )
    if kind in ("rate", "share"):
        say = wording.share if kind == "share" else wording.number
        small = ""
        if key in ("rate", "share") and with_interval and row.get("low") is not None:
            small = f"{say(row['low'])} to {say(row['high'])}"
        return Cell(say(value), small)
    if kind == "days":
        return Cell(wording.number(value))
    return Cell(wording.capital(str(value)) if key in HEADINGS else str(value), number=False)


# --- the rest --------------------------------------------------------------------------------------


def intervals_of(finding: Any) -> tuple[str, ...]:
    """The intervals beside the one shown, each with its kind."""
    return tuple(
        f"{wording.between(i.low, i.high)} ({wording.share(i.level)}, {i.kind})" for i in finding.other_intervals
    )


def number_of(finding: Any) -> str:
    """The headline number with its unit and its interval; '' without one: it is not to stand alone."""
    if finding.value is None or finding.interval is None:
        return ""
    if finding.kind == "when":
        text = f"{wording.capital(finding.unit)}: {wording.clock(finding.value)}"
        text += f", {wording.clock(finding.interval.low)} to {wording.clock(finding.interval.high)}"
    else:
        text = f"{wording.trimmed(finding.value)} {finding.unit}"
        text += f", {wording.between(finding.interval.low, finding.interval.high)}"
    return f"{text} ({wording.share(finding.interval.level)}, {finding.interval.kind})"


def _statistics(finding: Any) -> tuple[tuple[str, str], ...]:
    """What stands behind the fold, for who asks for it."""
    if finding is None:
        return ()
    return {"change": statistics, "when": hours_statistics}.get(finding.kind, lambda _: ())(finding)


def hours_statistics(finding: Any) -> tuple[tuple[str, str], ...]:
    """What stands behind the hours: what the detections are worth, the test, the activity level."""
    told = finding.series
    n = told["clock"]["n"]
    level, ends = told["activity_level"], told["activity_level_interval"]
    p = told["even_p"]
    out = [
        (
            "What they are worth",
            f"{wording.plural(n, 'detection')} in {wording.plural(told['comings'], 'day')} of a site; for the curve as "
            f"much as {round(told['worth'])} that come by themselves",
        ),
        (
            "So uneven by chance",
            "in fewer than 1 of 1000 even days" if p < 0.001 else f"in {wording.share(p)} of even days",
        ),
        (
            "Activity level",
            f"{wording.share(level)} of the day ({wording.share(ends.low)} to {wording.share(ends.high)}, 95 %)"
            if ends
            else f"not told: {told['activity_level_refused']}",
        ),
    ]
    for row in finding.rows:
        if row["preference_low"] is not None:
            out.append(
                (
                    f"{wording.capital(row['light'])}, against an even day",
                    f"{wording.number(row['preference'], 2)} times "
                    f"({wording.between(row['preference_low'], row['preference_high'])})",
                )
            )
    for part in told["heights"]:
        if part["low"] is not None:
            where = f"{round(part['from_deg'])}° to {round(part['to_deg'])}°"
            out.append(
                (
                    f"Sun at {where}".replace("-", "−"),
                    f"{wording.plural(part['detections'], 'detection')} in {wording.number(part['watched_h'])} h; "
                    f"{wording.number(part['against_even'], 2)} times an even day "
                    f"({wording.between(part['low'], part['high'])})",
                )
            )
    return tuple(out)


def statistics(finding: Any) -> tuple[tuple[str, str], ...]:
    """What stands behind a change, for who asks for it: scatter, the allowance, what is told beforehand."""
    told = finding.series["change"]
    out = []
    if told["told"]:
        here = told["happened"]
        out.append(
            (
                "In this record",
                f"{wording.number(here['factor_per_year'])} times a year, {wording.between(here['low'], here['high'])}",
            )
        )
        out.append(("Scatter, over that of single detections", wording.number(told["scatter"])))
    out.append(("Allowance for years", f"{wording.share(told['yearly_allowance'])} (standard deviation, log scale)"))
    for years, share in finding.series["outlook"].items():
        out.append((f"A halving in three years, shown by {years} years", f"{round(100 * share)} of 100 records"))
    pair = finding.series["same_months"]
    if pair and pair["ratio"] is not None:
        months = wording.listed([wording.MONTHS[n - 1] for n in pair["months"]])
        if len(pair["months"]) == 12:
            months = "the whole year"
        out.append(
            (
                f"{pair['later']} over {pair['earlier']}, {months}",
                f"{wording.number(pair['ratio'])} times "
                f"({wording.between(pair['interval'].low, pair['interval'].high)})",
            )
        )
    return tuple(out)


def rests(answer: Answer) -> tuple[tuple[str, str], ...]:
    known, finding = answer.rests, answer.finding
    out: list[tuple[str, str]] = []
    if finding:
        watched = f"{wording.number(finding.effort['camera_days'])} camera-days (trap-nights)"
        if finding.effort["site_days"] < finding.effort["camera_days"] - 1e-6:
            watched += f", {wording.number(finding.effort['site_days'])} site-days"
        out.append(("Effort", watched))
        out.append(
            (
                "Cameras",
                f"{wording.plural(known.deployments, 'deployment')} at "
                f"{wording.plural(finding.effort['sites'], 'site')}",
            )
        )
    if known.gap_reasons:
        days = sum(days for _, days in known.gap_reasons)
        one = len(known.gap_reasons) == 1
        why = "; ".join(r if one else f"{wording.number(d)} {r}" for r, d in known.gap_reasons)
        out.append(("Taken off", f"{wording.number(days)} camera-days: {why}"))
    else:
        out.append(("Taken off", "nothing; no gap is known"))
    if known.silent_days >= 0.05:
        many = f" in {wording.plural(known.silences, 'silence')} of a day or more" if known.silences else ""
        out.append(
            (
                "Open",
                f"{wording.number(known.silent_days)} camera-days{many}, of which nobody knows whether the "
                "camera watched; a rate holds both ends.",
            )
        )
    if known.not_home:
        out.append(
            (
                "Not home",
                f"{wording.plural(known.not_home, 'deployment')} of which no card has been imported; not counted.",
            )
        )
    out.append(("Sequences", f"{wording.count(known.sequences_seen)} looked at, {wording.count(known.unseen)} not yet"))
    return tuple(out)


def _drawn(answer: Answer, by: str, here: str, query: str) -> Drawn | None:
    if answer.finding is None:
        return None
    clock: Literal["sun", "clock"] = "clock" if answer.kind == "when" and by == "clock" else "sun"
    if clock not in answer.charts:
        answer.charts[clock] = charts.chart(answer.finding, "light", by=clock)
    spec = answer.charts[clock]
    if spec is None:
        return None
    ways: tuple[Door, ...] = ()
    if answer.kind == "when" and answer.finding.series.get("sun_refused") and answer.finding.series.get("heights"):
        ways = (
            Door("By the sun's height", _url(here, query), by == "sun"),
            Door("By the clock", _url(here, query, by="clock"), by == "clock"),
        )
    elif answer.kind == "when" and answer.finding.series.get("sun"):
        ways = (
            Door("Sun time", _url(here, query), by == "sun"),
            Door("By the clock", _url(here, query, by="clock"), by == "clock"),
        )
    finding = answer.finding
    told = finding if by == "sun" else replace(finding, series={**finding.series, "sun": None, "heights": []})
    return Drawn(
        spec=spec,
        label=f"{finding.sentence} {answer.filter_sentence}.",
        caption=charts.caption(told),
        rows=len(finding.rows),
        ways=ways,
    )


def shortcuts(answer: Answer, here: str, latitude_deg: float, today: date) -> tuple[Door, ...]:
    """Ways to usual periods: the last twelve months and the last four seasons that have begun."""
    last = min(answer.last, today) if answer.last and answer.filter.last is None else today
    periods: list[tuple[str, date | None, date | None]] = [
        ("All there is", None, None),
        ("Last 12 months", _year_before(last), last),
    ]
    periods += seasons(last, latitude_deg, 4)
    out = []
    for label, first, end in periods:
        asked = {
            **answer.filter.to_dict(),
            "from": first and first.isoformat(),
            "to": end and end.isoformat(),
        }
        same = (answer.filter.first, answer.filter.last) == (first, end)
        out.append(Door(label, _url(here, answers.query(answers.from_kept(asked, answer.filter.species_names))), same))
    return tuple(out)


def _year_before(day: date) -> date:
    try:
        back = day.replace(year=day.year - 1)
    except ValueError:  # 29 February
        back = day.replace(year=day.year - 1, day=28)
    return date.fromordinal(back.toordinal() + 1)


def pager(count: int, page: int, size: int) -> Sequence[int]:
    """Numbers of pages to show about this one."""
    last = max(1, -(-count // size))
    return sorted({1, last, *(n for n in range(page - 2, page + 3) if 1 <= n <= last)})
