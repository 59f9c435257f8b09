"""A folder of tables with every column described: the records of a reserve for other programs and people.

Our own columns, in plain CSV (RFC 4180); `description.json` tells each, `README.txt` tells the whole.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from trod import clock
from trod.exchange.tables import cell
from trod.findings import localtime
from trod.findings.observations import Filter, joined, select, without
from trod.leaving.sites import FitEvidence


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column. unit : empty for text, counts and dates."""

    name: str
    what: str
    unit: str = ""


@dataclass(frozen=True, kw_only=True)
class Table:
    """One file. rows : may be an iterator that reads as it goes; it is walked once."""

    name: str
    what: str
    columns: tuple[Column, ...]
    rows: Iterable[Sequence[Any]]


def columns(*told: tuple[str, str] | tuple[str, str, str]) -> tuple[Column, ...]:
    """Columns from (name, what) or (name, what, unit)."""
    return tuple(Column(name=t[0], what=t[1], unit=t[2] if len(t) > 2 else "") for t in told)


SITES = columns(
    ("site", "key of the site"),
    ("name", "its name"),
    ("feature", "what kind of place it is"),
    ("latitude", "WGS 84; of a sensitive site the middle of a coarse cell", "degrees"),
    ("longitude", "WGS 84; of a sensitive site the middle of a coarse cell", "degrees"),
    ("uncertainty_m", "how far the true place may lie from it; empty when it is the true place", "m"),
    ("sensitive", "true: its place must not be given away"),
)
EFFORT = columns(
    ("deployment", "key of the deployment"),
    ("site", "key of the site"),
    ("camera", "the camera"),
    ("from", "begin of the stretch, UTC"),
    ("to", "end of the stretch, UTC"),
    ("days", "its length, 24 h a day", "days"),
    ("state", "watched; gap: it hung there and did not watch; open: nobody knows whether it watched"),
    ("reason", "of a gap"),
)
OBSERVATIONS = columns(
    ("sequence", "key of the sequence: pictures of one deployment that follow each other closely"),
    ("deployment", "key of the deployment"),
    ("site", "key of the site"),
    ("start", "first picture of the sequence, UTC, clock corrected"),
    ("end", "last picture of the sequence, UTC, clock corrected"),
    ("start_local", "first picture on the reserve's own clock, with its offset from UTC"),
    ("what", "animal, blank, person, vehicle or unknown"),
    ("species", "key of the species; empty when none was said"),
    ("species_name", "its name"),
    ("count", "how many"),
    ("sex", "female, male or unknown"),
    ("life_stage", "adult, subadult, juvenile or unknown"),
    ("said_by", "who said so"),
    ("picture", "SHA-256 of the sequence's first picture"),
    ("pictures", "how many pictures the sequence has"),
)


def record_tables(known: FitEvidence, asked: Filter, *, with_people: bool = False) -> list[Table]:
    """Sites, effort and observations of a reserve, narrowed to a period.

    Observations are listed as people said them, not merged into detections. Of `asked` the days and sites count.
    with_people : sequences with a person or a vehicle too.
    """
    evidence = known.evidence
    selection = select(evidence, Filter(sites=asked.sites, first=asked.first, last=asked.last))
    zone = evidence.reserve.zone
    cameras = {d.slug: d.camera for d in evidence.deployments}

    def sites() -> Iterator[Sequence[Any]]:
        for site in sorted(known.sites, key=lambda s: s.slug):
            if asked.sites and site.slug not in asked.sites:
                continue
            place = site.place
            yield (
                site.slug, site.name, site.feature, place.latitude_deg, place.longitude_deg, place.uncertainty_m,
                site.sensitive,
            )  # fmt: skip

    def effort() -> Iterator[Sequence[Any]]:
        start_s = localtime.day_start_s(asked.first, zone) if asked.first else float("-inf")
        end_s = localtime.day_after_start_s(asked.last, zone) if asked.last else float("inf")
        for d in sorted(evidence.deployments, key=lambda d: d.slug):
            if asked.sites and d.site not in asked.sites:
                continue
            unknown = joined([(g.start_s, g.end_s) for g in d.open])
            stretches = [(a, b, "watched", "") for a, b in without(joined(d.watched), unknown)]
            stretches += [(g.start_s, g.end_s, "open", g.reason) for g in d.open]
            stretches += [(g.start_s, g.end_s, "gap", g.reason) for g in d.gaps]
            for low, high, state, reason in sorted(stretches):
                a, b = max(low, start_s), min(high, end_s)
                if b > a:
                    yield (d.slug, d.site, cameras[d.slug], _utc(a), _utc(b), (b - a) / 86_400, state, reason)

    def observations() -> Iterator[Sequence[Any]]:
        with_a_person = {s.sequence for s in selection.others if s.what in ("human", "vehicle")}
        lines = sorted((*selection.animals, *selection.others), key=lambda s: (s.utc_s, s.sequence, s.what, s.species))
        for s in lines:
            if s.sequence in with_a_person and not with_people:
                continue
            yield (
                s.sequence,
                s.deployment,
                s.site,
                _utc(s.utc_s),
                _utc(s.until_s),
                _local(s.utc_s, zone),
                s.what,
                s.species,
                s.species_name,
                s.count,
                s.sex,
                s.life_stage,
                s.said_by,
                s.picture,
                s.pictures,
            )

    return [
        Table(name="sites", what="The sites.", columns=SITES, rows=sites()),
        Table(
            name="effort",
            what="When each camera watched, when it hung there without watching, and when nobody knows.",
            columns=EFFORT,
            rows=effort(),
        ),
        Table(
            name="observations",
            what="What people said of each sequence, one line for each kind of animal in it.",
            columns=OBSERVATIONS,
            rows=observations(),
        ),
    ]


def write(
    tables: Iterable[Table],
    dest: Path,
    *,
    title: str,
    notes: Sequence[str] = (),
    made: str,
    progress: Callable[[str, int], None] = lambda name, rows: None,
) -> dict[str, int]:
    """Write the tables, their description and a README into a folder.

    dest : made when it is not there; files of the same names in it are replaced, nothing else is touched.
    notes : sentences for the README. progress : called with each file's name and the rows written so far.
    Returns rows by table. Each file is there whole or not at all. Raises OSError as the disk tells it.
    """
    dest.mkdir(parents=True, exist_ok=True)
    counts: dict[str, int] = {}
    told = []
    for table in tables:
        part = dest / f"{table.name}.csv.part"
        n = 0
        with part.open("w", encoding="utf-8", newline="", errors="replace") as file:
            out = csv.writer(file, lineterminator="\r\n")
            out.writerow([column.name for column in table.columns])
            for row in table.rows:
                out.writerow([cell(value) for value in row])
                n += 1
                if n % 5000 == 0:
                    progress(table.name, n)
        part.replace(dest / f"{table.name}.csv")
        progress(table.name, n)
        counts[table.name] = n
        told.append(table)
    description = {
        "title": title,
        "made": made,
        "notes": list(notes),
        "tables": [
            {
                "file": f"{t.name}.csv",
                "description": t.what,
                "rows": counts[t.name],
                "columns": [
                    {"name": c.name, "description": c.what, **({"unit": c.unit} if c.unit else {})} for c in t.columns
                ],
            }
            for t in told
        ],
    }
    _whole(dest / "description.json", json.dumps(description, ensure_ascii=False, indent=1) + "\n")
    lines = [title, "", *notes, "", "Files (UTF-8, commas, one header line; an empty cell is not known):"]
    for t in told:
        lines += ["", f"{t.name}.csv: {t.what} Rows: {counts[t.name]}."]
        lines += [f"  {c.name}: {c.what}{f' [{c.unit}]' if c.unit else ''}" for c in t.columns]
    lines += ["", "A text that a spreadsheet would take for a formula begins with an apostrophe.", made]
    _whole(dest / "README.txt", "\n".join(lines) + "\n")
    return counts


def _whole(path: Path, text: str) -> None:
    part = path.with_name(path.name + ".part")
    part.write_bytes(text.encode("utf-8", "replace"))
    part.replace(path)


def _utc(at_s: float) -> str:
    return datetime.fromtimestamp(at_s, UTC).isoformat().replace("+00:00", "Z")


def _local(at_s: float, zone: str) -> str:
    return clock.local(datetime.fromtimestamp(at_s, UTC), zone).isoformat()
