"""Notes that came home from the field, their photos, and what waits for a person's word.

A note is what a phone or a sheet said of one visit.

    field-notes/<visit's uuid>.json     the note as it was taken last, and the earlier ones
    field-notes/held-<uuid>-<12 of its digest>.json   a note about which two sides differ, with both sides
    field-notes/<sha256>.jpg            a photo, named by its bytes

One flat folder: below a deployment's folder only bags may lie. Every file is written whole or not at all, and is firm
on the disk before its writer goes on.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trod.archive import disk, papers
from trod.archive.sidecar import read_json, write_json
from trod.errors import CatalogueTrouble, WrongInput

FOLDER = papers.NOTES
NOTE, HELD = "field-note", "held-note"
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_SHA = re.compile(r"[0-9a-f]{64}")


def folder(root: Path) -> Path:
    """Where they lie."""
    return Path(root) / FOLDER


def lock(root: Path, *, wait_s: float = 30.0) -> disk.Lock:
    """Held while notes are looked at and written, so that two phones cannot both be the first."""
    disk.make_folder(folder(root))
    return disk.Lock(folder(root) / ".lock", wait_s=wait_s)


def _named(uuid: str) -> str:
    if not _UUID.fullmatch(uuid):
        raise WrongInput("visit", got=uuid, needed="a UUID in small letters")
    return uuid


def read(root: Path, uuid: str) -> dict[str, Any] | None:
    """A note by its visit's uuid, or None. Raises CatalogueTrouble for a file that is damaged."""
    return read_json(folder(root) / f"{_named(uuid)}.json", NOTE)


def write(root: Path, uuid: str, fields: Mapping[str, Any]) -> None:
    """Write a note, in place of the one there is."""
    write_json(root, f"{FOLDER}/{_named(uuid)}.json", NOTE, fields)


def held_name(uuid: str, digest: str) -> str:
    """The name of a held note's file, without its folder."""
    if not _SHA.fullmatch(digest):
        raise WrongInput("digest", got=digest, needed="a SHA-256 in small letters")
    return f"held-{_named(uuid)}-{digest[:12]}.json"


def write_held(root: Path, name: str, fields: Mapping[str, Any]) -> None:
    """Write a held note under the name of `held_name`."""
    write_json(root, f"{FOLDER}/{name}", HELD, fields)


def read_held(root: Path, name: str) -> dict[str, Any] | None:
    """A held note by its file's name, or None."""
    if not re.fullmatch(r"held-[0-9a-f-]{36}-[0-9a-f]{12}\.json", name):
        raise WrongInput("held note", got=name, needed="a name as the page gives it")
    return read_json(folder(root) / name, HELD)


def all_held(root: Path) -> Iterator[tuple[str, dict[str, Any]]]:
    """(file name, fields) of each held note, also of those decided. A damaged one is passed over."""
    for path in sorted(folder(root).glob("held-*.json")):
        try:
            found = read_json(path, HELD)
        except (CatalogueTrouble, OSError):
            continue
        if found is not None:
            yield path.name, found


def keep_photo(root: Path, data: bytes) -> str:
    """Keep a photo; the same bytes are kept once. Returns its SHA-256."""
    sha256 = hashlib.sha256(data).hexdigest()
    path = folder(root) / f"{sha256}.jpg"
    if not (path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == sha256):
        with disk.trouble_told(path, "a photo was written"):
            papers.put(Path(root), f"{FOLDER}/{path.name}", data, kind="file", over_damage=True)
    return sha256


def photo_path(root: Path, sha256: str) -> Path | None:
    """Where a photo lies; None when there is none."""
    if not _SHA.fullmatch(sha256):
        return None
    path = folder(root) / f"{sha256}.jpg"
    return path if path.is_file() else None


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What one round's forms have left here.

    visits : their uuids. states : every state of them that is kept, the held ones too. size : of their files and photos
    [bytes].
    """

    visits: frozenset[str]
    states: int
    size: int


def of_field_form(root: Path, field_form: str, *, since_s: float) -> Kept:
    """What came by one field form. Files last written before `since_s` (unix seconds) are not looked at."""
    visits: set[str] = set()
    photos: set[str] = set()
    states = size = 0
    place = folder(root)
    for path in sorted(place.glob("*.json")) if place.is_dir() else ():
        held = path.name.startswith("held-")
        try:
            about = path.stat()
            fields = read_json(path, HELD if held else NOTE) if about.st_mtime >= since_s else None
        except (CatalogueTrouble, OSError):
            continue
        if fields is None or fields.get("field_form") != field_form:
            continue
        told = [fields.get("other")] if held else [fields.get("note"), *fields.get("earlier", ())]
        states += len(told)
        size += about.st_size
        for note in told:
            if isinstance(note, Mapping):
                visits.add(str(note.get("uuid", "")))
                photos |= {str(p.get("sha256", "")) for p in note.get("photos", ()) if isinstance(p, Mapping)}
    for sha256 in photos:
        path_of = photo_path(root, sha256)
        size += path_of.stat().st_size if path_of else 0
    return Kept(visits=frozenset(visits), states=states, size=size)


def names(root: Path) -> Iterator[str]:
    """Every file of the folder as a path below the archive, for a backup."""
    place = folder(root)
    if place.is_dir():
        for path in sorted(place.iterdir()):
            if path.is_file() and not path.name.startswith(".") and not path.name.endswith(".new"):
                yield f"{FOLDER}/{path.name}"


def plain(value: Mapping[str, Any]) -> dict[str, Any]:
    """A copy through JSON, to be sure that it can be written."""
    made: dict[str, Any] = json.loads(json.dumps(value, ensure_ascii=False))
    return made
