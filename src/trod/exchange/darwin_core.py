"""Records as a Darwin Core archive: deployments and sequences as events, animals as occurrences.

Sources: Darwin Core terms and Darwin Core text guide (TDWG); which column of a package is which term, by the matches
that Camtrap DP 1.0.2 states itself. `occurrenceStatus` is `detected`, as the terms' present vocabulary has it.
`sampleSizeValue` stands only with its unit, and an uncertainty is above 0 or not there, as the terms ask.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from trod.exchange import package_tables as tables

DWC = tables.DWC
EVENT = (
    "eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "samplingEffort", "sampleSizeValue",
    "sampleSizeUnit", "locationID", "locality", "decimalLatitude", "decimalLongitude", "geodeticDatum",
    "coordinateUncertaintyInMeters", "dataGeneralizations", "habitat",
)  # fmt: skip
OCCURRENCE = (
    "occurrenceID", "eventID", "basisOfRecord", "occurrenceStatus", "scientificName", "taxonRank", "vernacularName",
    "kingdom", "individualCount", "sex", "lifeStage", "behavior", "organismID", "identifiedBy", "dateIdentified",
    "occurrenceRemarks",
)  # fmt: skip
PROTOCOL = "motion-triggered camera"
GENERALISED = "Coordinates are the middle of a coarse cell, because the site is sensitive."


def write(
    package: Path, dest: Path, *, effort_days: Mapping[str, float], hidden: frozenset[str] = frozenset()
) -> dict[str, int]:
    """Make the archive from a package that is fit to leave. Returns rows by table. Raises OSError.

    effort_days : camera-days that a deployment watched, by its deploymentID. hidden : deployments told by a coarse cell.
    """
    dest.mkdir(parents=True, exist_ok=True)
    told = json.loads((package / "datapackage.json").read_text("utf-8"))
    kinds = {str(one["scientificName"]): one for one in told.get("taxonomic", ())}
    counts = {
        "event": _table(dest / "event.csv", EVENT, _events(package, effort_days, hidden)),
        "occurrence": _table(dest / "occurrence.csv", OCCURRENCE, _occurrences(package, kinds)),
    }
    (dest / "meta.xml").write_text(meta(), "utf-8", newline="\n")
    (dest / "eml.xml").write_text(eml(told), "utf-8", newline="\n")
    return counts


def _rows(package: Path, name: str) -> Iterator[dict[str, str]]:
    with (package / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file)


def _table(path: Path, columns: Sequence[str], rows: Iterator[dict[str, str]]) -> int:
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        out.writeheader()
        for row in rows:
            out.writerow(row)
            count += 1
    return count


def _telling(package: Path) -> Iterator[dict[str, str]]:
    """Observations of sequences as a whole, and those of single pictures where there are none: nothing is said twice."""
    whole = {event_key(row) for row in _rows(package, "observations") if row["observationLevel"] == "event"}
    for row in _rows(package, "observations"):
        if row["observationLevel"] == "event" or event_key(row) not in whole:
            yield row


def _interval(start: str, end: str) -> str:
    return start if start == end else f"{start}/{end}"


def event_key(row: Mapping[str, str]) -> str:
    """The sequence that an observation belongs to."""
    return row["eventID"] or f"{row['deploymentID']}:{row['eventStart']}"


def _events(package: Path, effort_days: Mapping[str, float], hidden: frozenset[str]) -> Iterator[dict[str, str]]:
    for row in _rows(package, "deployments"):
        key = row["deploymentID"]
        event = {
            "eventID": key,
            "eventType": "Survey",
            "eventDate": _interval(row["deploymentStart"], row["deploymentEnd"]),
            "samplingProtocol": PROTOCOL,
            "locationID": row["locationID"],
            "locality": row["locationName"],
            "decimalLatitude": row["latitude"],
            "decimalLongitude": row["longitude"],
            "geodeticDatum": "EPSG:4326",
            "coordinateUncertaintyInMeters": row["coordinateUncertainty"],
            "dataGeneralizations": GENERALISED if key in hidden else "",
            "habitat": row["habitat"],
        }
        days = effort_days.get(key)
        if days is not None:
            event["samplingEffort"] = f"{days:.1f} camera-days"
            event["sampleSizeValue"], event["sampleSizeUnit"] = f"{days:.1f}", "camera-days"
        yield event
    seen: set[str] = set()
    for row in _telling(package):
        key = event_key(row)
        if key not in seen:
            seen.add(key)
            yield {
                "eventID": key,
                "parentEventID": row["deploymentID"],
                "eventType": "Observation",
                "eventDate": _interval(row["eventStart"], row["eventEnd"]),
                "samplingProtocol": PROTOCOL,
            }


def _occurrences(package: Path, kinds: Mapping[str, Any]) -> Iterator[dict[str, str]]:
    for row in _telling(package):
        if row["observationType"] != "animal":
            continue
        kind = kinds.get(row["scientificName"], {})
        yield {
            "occurrenceID": row["observationID"],
            "eventID": event_key(row),
            "basisOfRecord": "MachineObservation",
            "occurrenceStatus": "detected",
            "scientificName": row["scientificName"] or "Animalia",
            "taxonRank": kind.get("taxonRank", "") if row["scientificName"] else "kingdom",
            "vernacularName": (kind.get("vernacularNames") or {}).get("eng", ""),
            "kingdom": "Animalia",
            "individualCount": row["count"],
            "sex": row["sex"],
            "lifeStage": row["lifeStage"],
            "behavior": row["behavior"],
            "organismID": row["individualID"],
            "identifiedBy": row["classifiedBy"],
            "dateIdentified": row["classificationTimestamp"],
            "occurrenceRemarks": row["observationComments"],
        }


def meta() -> str:
    """meta.xml, as the Darwin Core text guide lays it down."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>']
    lines.append('<archive xmlns="http://rs.tdwg.org/dwc/text/" metadata="eml.xml">')
    for tag, kind, name, columns in (
        ("core", "Event", "event", EVENT), ("extension", "Occurrence", "occurrence", OCCURRENCE),
    ):  # fmt: skip
        lines.append(
            f'  <{tag} encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" '
            f'fieldsEnclosedBy=\'"\' ignoreHeaderLines="1" rowType="{DWC}{kind}">'
        )
        lines.append(f"    <files><location>{name}.csv</location></files>")
        index = columns.index("eventID")
        lines.append(f'    <{"id" if tag == "core" else "coreid"} index="{index}"/>')
        lines += [f'    <field index="{at}" term={quoteattr(DWC + c)}/>' for at, c in enumerate(columns)]
        lines.append(f"  </{tag}>")
    return "\n".join([*lines, "</archive>", ""])


def eml(told: Mapping[str, Any]) -> str:
    """The least that an archive tells of itself, in Ecological Metadata Language 2.2."""
    title = escape(str(told.get("title") or "Records"))
    people = [one for one in told.get("contributors", ()) if isinstance(one, Mapping)]
    names = [escape(str(one.get("title", ""))) for one in people] or [title]
    who = "".join(f"    <creator><organizationName>{name}</organizationName></creator>\n" for name in names)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<eml:eml xmlns:eml="https://eml.ecoinformatics.org/eml-2.2.0" '
        f'packageId={quoteattr(str(told.get("id") or told.get("name") or "records"))} system="trod">\n'
        f"  <dataset>\n    <title>{title}</title>\n{who}"
        f"    <contact><organizationName>{names[0]}</organizationName></contact>\n  </dataset>\n</eml:eml>\n"
    )
