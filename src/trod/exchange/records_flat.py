"""Records in one CSV file: each row as a row of the standard's observations, with the deployments that it implies.

A deployment is what the file calls one; else all of one camera at one site. Where the file tells no start and end of a
deployment, they are those of its first and last record, which proves nothing of the time around.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING

from trod import clock
from trod.exchange import package_tables as tables
from trod.exchange.records_source import FLAT

if TYPE_CHECKING:
    from trod.exchange.records_in import Records

# What people write for the standard's words. Ours, by common practice.
WHAT = {
    "person": "human", "people": "human", "human": "human", "vehicle": "vehicle", "car": "vehicle", "blank": "blank",
    "empty": "blank", "nothing": "blank", "none": "blank", "unknown": "unknown", "animal": "animal",
    "unclassified": "unclassified",
}  # fmt: skip
SEX = {"f": "female", "female": "female", "m": "male", "male": "male"}
STAGE = {"ad": "adult", "adult": "adult", "subadult": "subadult", "sub-adult": "subadult", "juvenile": "juvenile",
         "juv": "juvenile", "young": "juvenile"}  # fmt: skip
_OF_DEPLOYMENT = ("locationID", "locationName", "latitude", "longitude", "cameraID", "cameraModel")


def when(text: str) -> datetime | None:
    """A date and time as ISO 8601 writes it, with a blank or a T between, with or without its zone; None for others."""
    text = text.strip().replace("/", "-") if re.match(r"\d{4}/", text.strip()) else text.strip()
    if not re.match(r"\d{4}-\d\d-\d\d", text):
        return None
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def observations_of(records: Records) -> Iterator[tuple[int, dict[str, str]]]:
    """The rows of a CSV file in the standard's columns; its deployments are put into `records` first."""
    offsets = _deployments(records)
    for number, cells in _meant(records):
        start = _start(cells)
        if start is None:
            records.skip(FLAT, number, "its time is missing or not written as 2026-05-01 14:30.")
            continue
        key = _key(cells)
        if not key:
            records.skip(FLAT, number, "it names no site.")
            continue
        offset = offsets.get(key, UTC)
        end = when(cells.get("eventEnd", "")) or start
        row = {name: text for name, text in cells.items() if name in ("eventID", "scientificName", "name", "count")}
        row |= {
            "observationID": str(number),
            "deploymentID": key,
            "eventStart": _text(start, offset),
            "eventEnd": _text(end, offset),
            "observationLevel": "event",
            "observationType": _what(cells),
            "sex": SEX.get(cells.get("sex", "").casefold(), ""),
            "lifeStage": STAGE.get(cells.get("lifeStage", "").casefold(), ""),
            "classifiedBy": cells.get("classifiedBy", ""),
            "observationComments": cells.get("observationComments", ""),
        }
        if row["observationType"] != "animal":
            row["scientificName"] = row["name"] = ""
        yield number, row


def _meant(records: Records) -> Iterator[tuple[int, dict[str, str]]]:
    """Cells by what they mean."""
    source = records.source
    for number, cells in source.rows(FLAT):
        by_head = {head.strip(): cell for head, cell in cells.items()}
        yield number, {meaning: tables.told(by_head.get(head)) for meaning, head in source.columns.items()}


def _start(cells: dict[str, str]) -> datetime | None:
    if cells.get("eventStart"):
        return when(cells["eventStart"])
    date, time = cells.get("date", ""), cells.get("clock", "")
    return when(f"{date} {time.zfill(5) if re.match(r'^[0-9]:', time) else time}") if date and time else None


def _key(cells: dict[str, str]) -> str:
    place = cells.get("locationName") or cells.get("locationID") or ""
    return (
        cells.get("deploymentID") or " / ".join(filter(None, (place, cells.get("cameraID"))))
        if (place or cells.get("deploymentID"))
        else ""
    )


def _what(cells: dict[str, str]) -> str:
    told = cells.get("observationType", "").casefold()
    if told:
        return WHAT.get(told, told)
    name = (cells.get("name") or cells.get("scientificName") or "").casefold()
    if not name:
        return "unclassified"
    return WHAT.get(name, "animal")


def _text(at: datetime, offset: timezone) -> str:
    at = at.replace(microsecond=0)
    return (at.replace(tzinfo=offset) if at.tzinfo is None else at).isoformat()


def _deployments(records: Records) -> dict[str, timezone]:
    """Find the deployments of a file in a walk of its own; {key: the offset of its clock}."""
    found: dict[str, tuple[int, dict[str, str], datetime, datetime, bool]] = {}
    for number, cells in _meant(records):
        key, start = _key(cells), _start(cells)
        if not key or start is None:
            continue
        begun, ended = when(cells.get("deploymentStart", "")), when(cells.get("deploymentEnd", ""))
        last = when(cells.get("eventEnd", "")) or start
        stated = begun is not None and ended is not None
        low, high = _zoned(records, begun or start), _zoned(records, ended or last)
        if key in found:
            row, first, a, b, was = found[key]
            found[key] = (row, first, min(a, low), max(b, high), was and stated)
        else:
            found[key] = (number, {n: cells[n] for n in _OF_DEPLOYMENT if cells.get(n)}, low, high, stated)
    for key, (number, cells, low, high, stated) in found.items():
        if high <= low:
            high = low + timedelta(seconds=1)
        low = low.astimezone(timezone(low.utcoffset() or timedelta(0)))  # one offset for the whole deployment
        records.put_deployment(key, number, low, high, cells, stated=stated)
        found[key] = (number, cells, low, high, stated)
    return {key: timezone(one[2].utcoffset() or timedelta(0)) for key, one in found.items()}


def _zoned(records: Records, at: datetime) -> datetime:
    return at if at.tzinfo is not None else at.replace(tzinfo=clock.zone(records.zone))
