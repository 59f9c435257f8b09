"""What lies at a path: a package of the open camera-data standard, or records in one CSV file; and how it is read."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trod.errors import WrongInput
from trod.exchange import package_tables as tables

DESCRIPTOR = "datapackage.json"
DESCRIPTOR_BYTES = 20_000_000
HEAD_BYTES = 65_536
FLAT = "records"  # the one table of a CSV file

# What a column of a CSV file may mean, and names by which it is known. Ours, by common practice.
MEANINGS: dict[str, tuple[str, tuple[str, ...]]] = {
    "eventStart": ("time", ("eventstart", "datetime", "timestamp", "eventdate", "taken", "dateandtime", "start")),
    "date": ("date, where the time stands in a column of its own", ("date", "day")),
    "clock": ("time of day, beside the date", ("time", "hour", "clock", "timeofday")),
    "eventEnd": ("end of the sequence", ("eventend", "end")),
    "locationName": ("site", ("locationname", "site", "location", "station", "place", "sitename", "locality")),
    "locationID": ("key of the site", ("locationid", "siteid", "stationid")),
    "latitude": ("latitude", ("latitude", "lat", "decimallatitude")),
    "longitude": ("longitude", ("longitude", "lon", "long", "lng", "decimallongitude")),
    "deploymentID": ("deployment", ("deploymentid", "deployment")),
    "deploymentStart": ("start of the deployment", ("deploymentstart", "setup", "setupdate", "installed")),
    "deploymentEnd": ("end of the deployment", ("deploymentend", "retrieved", "retrievaldate", "pickup")),
    "cameraID": ("camera", ("cameraid", "camera", "serial", "cameraserial")),
    "cameraModel": ("camera model", ("cameramodel", "model")),
    "observationType": ("what: animal, human, vehicle, blank or unknown", ("observationtype", "what", "type")),
    "scientificName": ("scientific name", ("scientificname", "latinname", "taxon")),
    "name": ("species, as it is called", ("species", "speciesname", "commonname", "vernacularname", "name", "animal")),
    "count": ("how many", ("count", "individualcount", "number", "n", "howmany")),
    "sex": ("sex", ("sex",)),
    "lifeStage": ("life stage", ("lifestage", "age")),
    "classifiedBy": ("who said so", ("classifiedby", "identifiedby", "observer", "saidby", "by")),
    "eventID": ("key of the sequence", ("eventid", "sequence", "event", "sequenceid")),
    "observationComments": ("note", ("observationcomments", "note", "notes", "comments", "remarks")),
}


@dataclass(frozen=True, kw_only=True)
class Source:
    """Records at a path. folder : what the files' names are relative to. files : {table: name below the folder}.

    flat : one CSV file of records. columns : of that, {meaning: the column's head}. heads : all its columns.
    """

    folder: Path
    files: Mapping[str, str]
    descriptor: Mapping[str, Any] = field(default_factory=dict)
    flat: bool = False
    columns: Mapping[str, str] = field(default_factory=dict)
    heads: tuple[str, ...] = ()
    encoding: str = "utf-8-sig"
    delimiter: str = ","

    @property
    def title(self) -> str:
        """What the records call themselves."""
        project = self.descriptor.get("project")
        titles = (project.get("title") if isinstance(project, Mapping) else None, self.descriptor.get("title"))
        return next((str(t) for t in titles if t), Path(next(iter(self.files.values()))).stem if self.flat else "")

    @property
    def names(self) -> Mapping[str, str]:
        """{scientific name in small letters: its English name}, as the descriptor tells them."""
        out = {}
        for one in self.descriptor.get("taxonomic") or ():
            names = one.get("vernacularNames") if isinstance(one, Mapping) else None
            name = (names.get("eng") or names.get("en")) if isinstance(names, Mapping) else None
            if isinstance(name, str) and name:
                out[str(one.get("scientificName", "")).casefold()] = name
        return out

    @property
    def ranks(self) -> Mapping[str, str]:
        """{scientific name in small letters: its rank}."""
        kinds = [one for one in self.descriptor.get("taxonomic") or () if isinstance(one, Mapping)]
        return {str(k.get("scientificName", "")).casefold(): str(k["taxonRank"]) for k in kinds if k.get("taxonRank")}

    def path(self, table: str) -> Path:
        return self.folder.joinpath(*self.files[table].split("/"))

    def rows(self, table: str) -> Iterator[tuple[int, dict[str, str]]]:
        """(number, cells by column) of a table, read as it goes; the head is row 1. Raises WrongInput."""
        if table not in self.files:
            return
        try:
            with self.path(table).open(encoding=self.encoding, newline="") as file:
                reader = csv.DictReader(file, delimiter=self.delimiter, restkey="", restval="")
                for number, row in enumerate(reader, 2):
                    yield number, {str(name): cell for name, cell in row.items() if name and isinstance(cell, str)}
        except (OSError, UnicodeDecodeError, csv.Error) as problem:
            raise WrongInput(
                self.files[table], got=f"a file that cannot be read ({problem})", needed="a CSV file in UTF-8"
            ) from problem


def look(path: Path, columns: Mapping[str, str] | None = None) -> Source:
    """What lies at this path. columns : {meaning: column} that somebody chose, in place of the guess.

    Raises WrongInput for what is neither a package nor a CSV file of records.
    """
    if path.is_dir() or path.name == DESCRIPTOR:
        return _package(path if path.is_dir() else path.parent)
    if path.suffix.lower() == ".zip":
        raise WrongInput("path", got=path.name, needed="the folder that lies in it; unpack the ZIP first")
    if not path.is_file():
        raise WrongInput("path", got=f"{path.name}, which is no file", needed="a folder, or a CSV file")
    return _flat(path, columns or {})


def _package(folder: Path) -> Source:
    descriptor: dict[str, Any] = {}
    place = folder / DESCRIPTOR
    if place.is_file():
        try:
            if place.stat().st_size > DESCRIPTOR_BYTES:
                raise ValueError("too large")
            read = json.loads(place.read_text("utf-8-sig"))
        except (OSError, ValueError, RecursionError) as problem:
            raise WrongInput(DESCRIPTOR, got=f"a file that cannot be read ({problem})", needed="JSON") from problem
        descriptor = read if isinstance(read, dict) else {}
    named = {
        str(one["name"]): str(one["path"])
        for one in descriptor.get("resources") or ()
        if isinstance(one, dict) and isinstance(one.get("name"), str) and isinstance(one.get("path"), str)
    }
    files = {}
    for table in tables.NAMES:
        name = named.get(table, f"{table}.csv")
        if name.startswith(("/", "~", ".")) or ".." in name or "\\" in name or ":" in name:
            raise WrongInput(f"the table {table}", got=name, needed="a file inside the package; download it first")
        if folder.joinpath(*name.split("/")).is_file():
            files[table] = name
    if missing := [table for table in ("deployments", "observations") if table not in files]:
        raise WrongInput(
            "path",
            got=f"{folder.name}, without {' and '.join(f'{m}.csv' for m in missing)}",
            needed="a package (datapackage.json, deployments.csv, media.csv, observations.csv) or one CSV file",
        )
    source = Source(folder=folder, files=files, descriptor=descriptor)
    for table, needed in (("deployments", "deploymentStart"), ("observations", "observationType")):
        head = _head(source.path(table), ",")
        if needed not in head:
            raise WrongInput(
                files[table], got=f"columns {', '.join(head)[:120]}", needed=f"the column {needed}, as in version 1.0"
            )
    return source


def _head(path: Path, delimiter: str) -> list[str]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            return next(csv.reader([file.readline(HEAD_BYTES)], delimiter=delimiter), [])
    except (OSError, UnicodeDecodeError, csv.Error) as problem:
        raise WrongInput(
            path.name, got=f"a file that cannot be read ({problem})", needed="a CSV file in UTF-8"
        ) from problem


def _flat(path: Path, chosen: Mapping[str, str]) -> Source:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            first = file.readline(HEAD_BYTES)
    except (OSError, UnicodeDecodeError) as problem:
        raise WrongInput("path", got=f"{path.name} ({problem})", needed="a CSV file in UTF-8") from problem
    delimiter = max(",;\t", key=first.count)
    heads = tuple(name.strip() for name in _head(path, delimiter))
    columns = guess(heads)
    for meaning, head in chosen.items():
        if meaning not in MEANINGS or (head and head not in heads):
            raise WrongInput(
                "column", got=f"{meaning}={head}", needed=f"a meaning ({', '.join(MEANINGS)}) and a column of the file"
            )
        if head:
            columns = {m: c for m, c in columns.items() if c != head} | {meaning: head}
        else:
            columns.pop(meaning, None)
    return Source(
        folder=path.parent, files={FLAT: path.name}, flat=True, columns=columns, heads=heads, delimiter=delimiter
    )


def guess(heads: tuple[str, ...]) -> dict[str, str]:
    """{meaning: column}, by the columns' names; none stands for two meanings."""
    plain = {head: "".join(c for c in head.casefold() if c.isalnum()) for head in heads}
    found: dict[str, str] = {}
    for meaning, (_, known) in MEANINGS.items():
        for name in known:
            head = next((h for h in heads if plain[h] == name and h not in found.values()), None)
            if head is not None:
                found[meaning] = head
                break
    if "eventStart" not in found and "clock" in found and "date" not in found:
        found["eventStart"] = found.pop("clock")
    return found


def lacking(source: Source) -> str:
    """What the columns of a CSV file do not tell, as a sentence; '' where they tell enough."""
    if not source.flat:
        return ""
    has = source.columns
    lacks = []
    if "eventStart" not in has and "date" not in has:
        lacks.append("when it was seen")
    if not {"locationName", "locationID", "deploymentID"} & set(has):
        lacks.append("at which site")
    if not {"scientificName", "name", "observationType"} & set(has):
        lacks.append("what was seen")
    return f"No column is known to tell {', nor '.join(lacks)}. Say which does." if lacks else ""
