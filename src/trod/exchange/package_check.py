"""Whether a folder is a package of the open camera-data standard: our own check of every rule of its schemas.

Source: Camtrap DP 1.0.2 (TDWG), profile and table schemas; Data Package and Table Schema (Frictionless, version 1).
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

from trod.exchange import package_tables as tables

MOST = 200  # sentences; a package that is wrong throughout need not be told throughout
DESIGNS = ("simpleRandom", "systematicRandom", "clusteredRandom", "experimental", "targeted", "opportunistic")
ROLES = ("contact", "principalInvestigator", "rightsHolder", "publisher", "contributor")
RANKS = ("kingdom", "phylum", "class", "order", "family", "genus", "species", "subspecies")
_NEEDED = ("resources", "profile", "created", "contributors", "project", "spatial", "temporal", "taxonomic")
_SHAPES = ("Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon", "GeometryCollection",
           "Feature", "FeatureCollection")  # fmt: skip


def check(folder: Path) -> list[str]:
    """What is wrong with the package in this folder, a sentence each; empty when nothing is."""
    try:
        descriptor = json.loads((folder / "datapackage.json").read_text("utf-8"))
    except (OSError, ValueError) as problem:
        return [f"datapackage.json cannot be read ({problem})."]
    found = list(descriptor_trouble(descriptor))
    ids: dict[str, set[str]] = {}
    for name in tables.NAMES:
        place = folder / _path(descriptor, name)
        try:
            with place.open(encoding="utf-8", newline="") as file:
                found += _table(name, csv.reader(file), ids)
        except (OSError, UnicodeDecodeError, csv.Error) as problem:
            found.append(f"{place.name} cannot be read ({problem}).")
        if len(found) >= MOST:
            break
    return found[:MOST]


def _path(descriptor: dict[str, Any], name: str) -> str:
    for one in descriptor.get("resources") or ():
        if isinstance(one, dict) and one.get("name") == name and isinstance(one.get("path"), str):
            return str(one["path"])
    return f"{name}.csv"


def _table(name: str, rows: Iterator[list[str]], ids: dict[str, set[str]]) -> list[str]:
    fields = {field.name: field for field in tables.TABLES[name]}
    head = next(rows, [])
    found = [f"{name}.csv has the column {c} twice." for c in {c for c in head if head.count(c) > 1}]
    if list(head) != list(tables.columns(name)):  # a table schema that lists its fields wants them all, in order
        found.append(f"{name}.csv does not have the standard's columns in the standard's order.")
    seen: set[str] = set()
    for line, cells in enumerate(rows, 2):
        if len(found) >= MOST:
            break
        if len(cells) != len(head):
            found.append(f"{name}.csv, row {line}: {len(cells)} cells under {len(head)} columns.")
            continue
        row = dict(zip(head, (tables.told(cell) for cell in cells), strict=True))
        for column, field in fields.items():
            if why := tables.trouble(field, row.get(column, "")):
                found.append(f"{name}.csv, row {line}: {column} {why}.")
            if field.unique:
                if row.get(column, "") in seen:
                    found.append(f"{name}.csv, row {line}: {column} stands in another row too.")
                seen.add(row.get(column, ""))
        for column, other in tables.KEYS.get(name, {}).items():
            if row.get(column) and row[column] not in ids.get(other, set()):
                found.append(f"{name}.csv, row {line}: {column} “{row[column]}” is not in {other}.csv.")
    ids[name] = seen
    return found


def descriptor_trouble(descriptor: Any) -> Iterator[str]:
    """What is wrong with a package's descriptor, a sentence each."""
    if not isinstance(descriptor, dict):
        yield "datapackage.json is no JSON object."
        return
    for name in _NEEDED:
        if name not in descriptor:
            yield f"datapackage.json lacks {name}."
    yield from _resources(descriptor.get("resources"))
    if descriptor.get("profile") != tables.PROFILE:
        yield f"profile is not {tables.PROFILE}."
    if "name" in descriptor and not re.fullmatch(r"[-a-z0-9._/]+", str(descriptor["name"])):
        yield "name holds other characters than a-z 0-9 - . _ /."
    if not re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)", str(descriptor.get("created"))):
        yield "created is no date and time of RFC 3339."
    people = descriptor.get("contributors")
    if not isinstance(people, list) or not people:
        yield "contributors holds nobody."
    else:
        for one in people:
            if not isinstance(one, dict) or not one.get("title"):
                yield "a contributor has no title."
            elif one.get("role", "contributor") not in ROLES:
                yield f"a contributor's role is {one['role']}, none of {', '.join(ROLES)}."
    yield from _project(descriptor.get("project"))
    if "licenses" in descriptor:
        scopes = {one.get("scope") for one in descriptor["licenses"] if isinstance(one, dict)}
        if len(descriptor["licenses"]) < 2 or not scopes <= {"data", "media"}:
            yield "licenses are to be two or more, each for data or for media."
    spatial = descriptor.get("spatial")
    if not isinstance(spatial, dict) or spatial.get("type") not in _SHAPES:
        yield "spatial is no GeoJSON."
    yield from _temporal(descriptor.get("temporal"))
    kinds = descriptor.get("taxonomic")
    if not isinstance(kinds, list):
        yield "taxonomic is no list."
        return
    for one in kinds:
        if not isinstance(one, dict) or not isinstance(one.get("scientificName"), str):
            yield "a taxon has no scientificName."
        elif "taxonRank" in one and one["taxonRank"] not in RANKS:
            yield f"taxonRank is {one['taxonRank']}, none of {', '.join(RANKS)}."
        elif any(not re.fullmatch("[a-z]{3}", code) for code in one.get("vernacularNames", {})):
            yield "vernacularNames are told by another code than three letters (ISO 639-3)."


def _resources(resources: Any) -> Iterator[str]:
    if not isinstance(resources, list) or len(resources) < 3:
        yield "resources are fewer than three."
        return
    named = [one.get("name") for one in resources if isinstance(one, dict)]
    for name in tables.NAMES:
        if named.count(name) != 1:
            yield f"resources name {name} {named.count(name)} times, not once."
    for one in resources:
        if not isinstance(one, dict) or one.get("name") not in tables.NAMES:
            continue
        if one.get("profile") != "tabular-data-resource":
            yield f"the resource {one['name']} is no tabular-data-resource."
        if one.get("schema") != f"{tables.BASE}{one['name']}-table-schema.json":
            yield f"the resource {one['name']} names no schema of version {tables.VERSION}."
        path = one.get("path")
        if not isinstance(path, str) or path.startswith(("/", "~", ".")) or ".." in path:
            yield f"the resource {one['name']} lies outside of the package."


def _project(project: Any) -> Iterator[str]:
    if not isinstance(project, dict):
        yield "project is no object."
        return
    if not isinstance(project.get("title"), str):
        yield "project.title is missing."
    if project.get("samplingDesign") not in DESIGNS:
        yield f"project.samplingDesign is none of {', '.join(DESIGNS)}."
    methods = project.get("captureMethod")
    if not isinstance(methods, list) or not methods or not set(methods) <= {"activityDetection", "timeLapse"}:
        yield "project.captureMethod is not activityDetection, timeLapse or both."
    if not isinstance(project.get("individualAnimals"), bool):
        yield "project.individualAnimals is not true or false."
    levels = project.get("observationLevel")
    if not isinstance(levels, list) or not set(levels) <= {"media", "event"}:
        yield "project.observationLevel is not media, event or both."


def _temporal(temporal: Any) -> Iterator[str]:
    days = []
    for end in ("start", "end"):
        try:
            days.append(date.fromisoformat(str((temporal or {}).get(end))))
        except (ValueError, AttributeError):
            yield f"temporal.{end} is no date."
    if len(days) == 2 and days[0] > days[1]:
        yield "temporal ends before it starts."
