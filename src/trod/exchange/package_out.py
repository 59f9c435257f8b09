"""A package of the open camera-data standard as files: three tables and what tells of them.

Source: Camtrap DP 1.0.2 (TDWG); Data Package (Frictionless, version 1). The tables keep every cell as it is given, so
that what came in as a package goes out with the same meaning; they are for programs, not for spreadsheets.
"""

from __future__ import annotations

import csv
import json
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from trod.exchange import package_tables as tables
from trod.leaving import FitPlace

Row = Mapping[str, str]
ROWS = 5000  # between two tellings of progress
# Ranks as the standard knows them; a group of one's own has none.
RANKS = frozenset({"species", "genus", "family", "order", "class"})


def moment(at: datetime, offset_min: int = 0) -> str:
    """An instant to the second, on a clock of this offset from UTC."""
    there = at.astimezone(timezone(timedelta(minutes=offset_min)))
    return there.replace(microsecond=0).isoformat().replace("+00:00", "Z")


def number(value: float | None) -> str:
    """A number as text, without noise; '' for none."""
    if value is None or not math.isfinite(value):
        return ""
    return f"{value:.10g}"


def whole(value: float | None) -> str:
    """A number as the nearest whole one."""
    return "" if value is None or not math.isfinite(value) else str(round(value))


def place_cells(place: FitPlace, before: Row) -> dict[str, str]:
    """Latitude, longitude and how far off they may be. before : what the records said; kept where it says the same."""
    cells = {"latitude": number(place.latitude_deg), "longitude": number(place.longitude_deg)}
    for name, value in (("latitude", place.latitude_deg), ("longitude", place.longitude_deg)):
        if same_number(before.get(name, ""), value):
            cells[name] = before[name]
    known = float(before.get("coordinateUncertainty") or 0)
    if place.uncertainty_m is not None:  # of a place that is hidden
        known += place.uncertainty_m
        cells["coordinateUncertainty"] = str(math.ceil(known))
    return cells


def same_number(text: str, value: float) -> bool:
    """Whether a cell holds this number."""
    try:
        return abs(float(text) - value) < 1e-9
    except ValueError:
        return False


def write(
    dest: Path,
    rows: Mapping[str, Iterable[Row]],
    descriptor: Callable[[], Mapping[str, Any]],
    progress: Callable[[str, int], None] = lambda name, count: None,
) -> dict[str, int]:
    """Write a package. rows : of each table, walked once. descriptor : asked last, when all rows were walked.

    Returns how many rows each table has. Raises OSError.
    """
    dest.mkdir(parents=True, exist_ok=True)
    counts = {}
    for name in tables.NAMES:
        part = dest / f"{name}.csv.part"
        count = 0
        with part.open("w", encoding="utf-8", newline="") as file:
            out = csv.DictWriter(file, tables.columns(name), restval="", extrasaction="ignore")
            out.writeheader()
            for row in rows[name]:
                out.writerow({key: cell.replace("\0", "") for key, cell in row.items()})
                count += 1
                if count % ROWS == 0:
                    progress(f"{name}.csv", count)
        part.replace(dest / f"{name}.csv")
        counts[name] = count
        progress(f"{name}.csv", count)
    part = dest / "datapackage.json.part"
    part.write_text(json.dumps(descriptor(), ensure_ascii=False, indent=2) + "\n", "utf-8")
    part.replace(dest / "datapackage.json")
    return counts


def resources() -> list[dict[str, str]]:
    """The three tables, as a descriptor names them."""
    return [
        {
            "name": name,
            "path": f"{name}.csv",
            "profile": "tabular-data-resource",
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "schema": f"{tables.BASE}{name}-table-schema.json",
        }
        for name in tables.NAMES
    ]


def spatial(places: Iterable[tuple[float, float]]) -> dict[str, Any]:
    """Where it was, as GeoJSON. places : (latitude, longitude) as they leave."""
    points = sorted({(round(lon, 6), round(lat, 6)) for lat, lon in places})
    if len(points) == 1:
        return {"type": "Point", "coordinates": list(points[0])}
    return {"type": "MultiPoint", "coordinates": [list(p) for p in points]}


def taxon(scientific_name: str, rank: str, name: str) -> dict[str, Any]:
    """One kind of animal, as a descriptor tells it."""
    told: dict[str, Any] = {"scientificName": scientific_name}
    if rank in RANKS:
        told["taxonRank"] = rank
    if name and name.casefold() != scientific_name.casefold():
        told["vernacularNames"] = {"eng": name}
    return told


def plain_name(title: str) -> str:
    """A package's name: small letters, digits and dashes."""
    return re.sub(r"[^a-z0-9]+", "-", title.casefold()).strip("-") or "records"


def joined(old: Sequence[Any], new: Sequence[Any], key: str) -> list[Any]:
    """Two lists of objects, each known by one of its fields; the first to bear a name stays."""
    found: dict[str, Any] = {}
    for one in (*old, *new):
        if isinstance(one, Mapping) and one.get(key):
            found.setdefault(f"{one[key]} {one.get('role', '')}".casefold(), one)
    return list(found.values())
