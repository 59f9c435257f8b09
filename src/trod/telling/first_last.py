"""What came first and last in each season, told: the finding with its sentences."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from trod import __version__, wording
from trod.findings import asking
from trod.findings.finding import Column, Finding
from trod.findings.first_last import Edge, Ends, FirstLast, by_stretch
from trod.findings.seasons import Stretch
from trod.telling import shared

QUESTION = "What came first and last?"
# Ours: a species on record so shortly before a season, or after it, was about when the season began, or ended.
JUST_OUTSIDE_DAYS = 31
COLUMNS = (
    Column(key="stretch", title="Season", kind="text"),
    Column(key="species", title="Species", kind="name"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="first", title="First recorded", kind="date"),
    Column(key="first_site", title="At", kind="text"),
    Column(key="days_before", title="Watched before it", kind="days", unit="site-days"),
    Column(key="last", title="Last recorded", kind="date"),
    Column(key="last_site", title="At", kind="text"),
    Column(key="days_after", title="Watched after it", kind="days", unit="site-days"),
)
_METHOD = (
    "The first and the last detection of each kind between the first and the last day of a season (three whole months, "
    "December to February the first) or calendar year. Time watched beyond them is time known to be watched, at all "
    "sites asked for, without days of which something waits for review or could not be named. What so long a silence "
    "allows for: fewer than three runs in it (Hanley & Lippman-Hand 1983), each of as many detections as one has in the "
    "whole record (as for rates of none seen)."
)
ASSUMPTIONS = (
    "First and last are those of the record. A camera sees what passes it; the animal may have been about elsewhere.",
    "The limit beside a silence supposes runs at random. Where the kind stays about for many weeks, or is photographed "
    "less well at one time of year than another, more is possible.",
)


def finding(known: Ends) -> Finding:
    """The answer of `findings.first_last` as a finding; it has no headline number."""
    selection = known.selection
    evidence, asked = selection.evidence, selection.filter
    names = evidence.names_for(asked)
    rows = [_row(known, one, names.get(one.species, one.species)) for one in known.table]
    return Finding(
        kind="first-last",
        question=QUESTION,
        sentence=_sentence(known, [row["species"] for row in rows]),
        value=None,
        unit="",
        interval=None,
        effort={**known.worked.to_dict(), "by_stretch": {s.key: known.days[s.key] for s in known.stretches}},
        filter={**asked.to_dict(), "each": known.each},
        filter_sentence=shared.sentence(selection),
        method=_METHOD,
        assumptions=(shared.WATCHED, *ASSUMPTIONS),
        cautions=tuple(_cautions(known)),
        columns=COLUMNS,
        rows=tuple(rows),
        made=__version__,
        **asking.opened(known.found),
    )


def row_key(one: FirstLast) -> str:
    """The key of one line of the table: its stretch and its kind."""
    return f"{one.stretch.key}/{one.species}"


def _row(known: Ends, one: FirstLast, name: str) -> dict[str, Any]:
    site = known.selection.evidence.site
    doors = asking.opened(one.found)
    row: dict[str, Any] = {
        "key": row_key(one),
        "stretch": one.stretch.name,
        "stretch_key": one.stretch.key,
        "species": name,
        "species_key": one.species,
        "detections": len(one.found),
        "pictures": doors["pictures"],
        "sequence_keys": doors["sequences"],
    }
    for which, beyond, edge in (("first", "before", one.first), ("last", "after", one.last)):
        row |= {
            which: edge.day.isoformat(),
            f"{which}_site": site(edge.detection.site).name,
            f"{which}_site_key": edge.detection.site,
            f"{which}_pictures": (edge.detection.picture,) if edge.detection.picture else (),
            f"{which}_sequence_keys": edge.detection.sequences,
            f"days_{beyond}": edge.days_beyond,
            f"most_{beyond}_per_100": edge.most_per_100,
            f"whole_day_{beyond}": edge.without.isoformat() if edge.without else None,
            f"maybe_{beyond}": edge.maybe,
            f"maybe_{beyond}_on": edge.maybe_on.isoformat() if edge.maybe_on else None,
            f"outside_{beyond}": edge.outside.isoformat() if edge.outside else None,
            f"told_{which}": lines(edge, one.stretch, site(edge.detection.site).name, is_first=which == "first"),
        }
    return row


def lines(edge: Edge, stretch: Stretch, site: str, *, is_first: bool) -> tuple[str, ...]:
    """What is known of the days beyond a first or last detection, in whole sentences."""
    return tuple(
        filter(
            None,
            (
                _silence(edge, stretch, is_first=is_first),
                _at_site(edge, site, is_first=is_first),
                _maybe(edge, is_first=is_first),
                _outside(edge, stretch, is_first=is_first),
            ),
        )
    )


def _silence(edge: Edge, stretch: Stretch, *, is_first: bool) -> str:
    kind = "year" if len(stretch.key) == 4 else "season"
    if edge.most_per_100 is None:
        if is_first:
            return (
                f"Before it, less than a day of this {kind} is known to have been watched and reviewed: it may have "
                "come earlier."
            )
        return (
            f"After it, less than a day of this {kind} is known to have been watched and reviewed: it may have come "
            "later."
        )
    days = wording.days_number(edge.days_beyond)
    most = wording.number(edge.most_per_100, 2)
    if is_first:
        return (
            f"Before it, none in {days} site-days watched and reviewed; that leaves room for up to {most} detections "
            "per 100 site-days (95 %)."
        )
    return (
        f"After it, none in {days} site-days watched and reviewed; that leaves room for up to {most} detections per 100 "
        "site-days (95 %)."
    )


def _at_site(edge: Edge, site: str, *, is_first: bool) -> str:
    when = edge.without
    if when is None:
        if is_first:
            return f"At {site} no whole day before it is known to have been watched and reviewed."
        return f"At {site} no whole day after it is known to have been watched and reviewed."
    apart = abs((edge.day - when).days)
    told = wording.day(when, near=edge.day)
    if is_first:
        if apart == 1:
            return f"At {site} the day before it was watched whole, without it."
        return f"The last whole day watched without it at {site} was {told}, {apart} days earlier."
    if apart == 1:
        return f"At {site} the day after it was watched whole, without it."
    return f"The next whole day watched without it at {site} was {told}, {apart} days later."


def _maybe(edge: Edge, *, is_first: bool) -> str:
    if not edge.maybe or edge.maybe_on is None:
        return ""
    waits = wording.plural(edge.maybe, "sequence")
    one = edge.maybe == 1
    on = wording.day(edge.maybe_on, near=edge.day)
    if is_first:
        return f"{waits} before it {'waits' if one else 'wait'} for review or could not be named" + (
            f", of {on}: it may be it." if one else f", the first of {on}: any of them may be it."
        )
    return f"{waits} after it {'waits' if one else 'wait'} for review or could not be named" + (
        f", of {on}: it may be it." if one else f", the last of {on}: any of them may be it."
    )


def _outside(edge: Edge, stretch: Stretch, *, is_first: bool) -> str:
    """Where it was about just outside the stretch, its first there is no arrival, its last no leaving."""
    when = edge.outside
    kind = "year" if len(stretch.key) == 4 else "season"
    if when is None:
        return ""
    apart = (stretch.first - when).days if is_first else (when - stretch.last).days
    if not 0 <= apart <= JUST_OUTSIDE_DAYS:
        return ""
    if is_first:
        return f"It was recorded on {wording.day(when)} too, shortly before the {kind} began."
    return f"It was recorded on {wording.day(when)} again, shortly after the {kind} ended."


def _sentence(known: Ends, names: Sequence[str]) -> str:
    asked = known.selection.filter
    if not known.table:
        return f"{wording.capital(_nobody(known))} recorded in the time asked for, so there is no first and no last."
    stretch, rows = by_stretch(known.table)[0]
    if len(asked.species) == 1:
        one = rows[0]
        where = known.selection.evidence.site
        if len(one.found) == 1:
            return (
                f"{names[0]} was recorded once in {_named(stretch)}: on {wording.day(one.first.day)}, at "
                f"{where(one.first.detection.site).name}."
            )
        return (
            f"In {_named(stretch)} {names[0]} was first recorded on {_when(one.first.day, one.last.day)}, at "
            f"{where(one.first.detection.site).name}, and last on {wording.day(one.last.day)}, at "
            f"{where(one.last.detection.site).name}."
        )
    kinds = wording.plural(len(rows), "kind of animal", "kinds of animals")
    return f"{kinds} {'was' if len(rows) == 1 else 'were'} recorded in {_named(stretch)}, the latest with any."


def _nobody(known: Ends) -> str:
    asked = known.selection.filter
    if not asked.species:
        return "no animal was"
    names = known.selection.evidence.names_for(asked)
    listed = [names.get(key, key) for key in sorted(asked.species)]
    return f"{wording.listed_at_most(listed)} {'was' if len(listed) == 1 else 'were'} not"


def _named(stretch: Stretch) -> str:
    """A stretch within a sentence: 'spring 2026', '2026'."""
    return stretch.name if stretch.name.startswith(wording.MONTHS) else stretch.name[:1].lower() + stretch.name[1:]


def _when(first: date, last: date) -> str:
    return wording.day(first, near=last)


def _cautions(known: Ends) -> list[str]:
    selection = known.selection
    out = shared.cautions_of(selection, known.found)
    bare = [s.name for s in known.stretches if known.days[s.key] < 1]
    if bare:
        out.insert(0, f"No camera is known to have watched for a day in {wording.listed_at_most(bare)}.")
    return out
