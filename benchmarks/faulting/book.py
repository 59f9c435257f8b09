"""The independent book: what the harness itself brought or typed, and was told is kept.

It reads archive and catalogue with its own few lines of hashlib, json and sqlite3, and none of Trod's readers, so that
a fault in those cannot hide itself. It knows the layout from docs/archive-format.md.
"""

from __future__ import annotations

import copy
import hashlib
import json
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

# Where the catalogue keeps a list of the papers. A rename of the tables is followed here.
TABLES = {
    "sites": "trod_site", "cameras": "trod_camera", "species": "trod_species", "locks": "trod_lock",
    "visits": "trod_visit", "deployments": "trod_deployment", "signs": "trod_sign",
}  # fmt: skip
PICTURES, IDENTIFICATIONS = "trod_picture", "trod_identification"
MANIFEST = "manifest-sha256.txt"


@dataclass
class Record:
    """One record somebody entered. may : the states it may be in; after a promise there is only one.

    name : the list in the papers. None among the states: it may be absent.
    """

    name: str
    may: list[dict[str, Any] | None]


@dataclass
class Said:
    """One identification. undone : whether it may be standing, taken back, or either."""

    act: dict[str, Any]
    sure: bool = True
    undone: frozenset[bool] = frozenset({False})


@dataclass
class Book:
    """Everything that must be there.

    pictures : {SHA-256: a name for it} of files that were told to be kept. photos : of field notes.
    """

    pictures: dict[str, str] = field(default_factory=dict)
    photos: dict[str, str] = field(default_factory=dict)
    notes: dict[str, str] = field(default_factory=dict)
    words: dict[str, Said] = field(default_factory=dict)
    records: dict[str, Record] = field(default_factory=dict)

    def copy(self) -> Book:
        return copy.deepcopy(self)

    # Writing in the book

    def keep_pictures(self, found: Mapping[str, str]) -> None:
        self.pictures.update({sha: path for path, sha in found.items()})

    def try_record(self, handle: str, name: str, fields: dict[str, Any]) -> None:
        """It was sent; whether it is kept is not known yet."""
        row = self.records.setdefault(handle, Record(name, [None]))
        row.may.append(fields)

    def promised(self, handle: str) -> None:
        """What was sent last was told to be kept."""
        row = self.records[handle]
        row.may = row.may[-1:]

    # Holding an archive against it

    def lost_in_archive(self, root: Path, *, earlier: bool = False) -> list[str]:
        """Sentences on what the archive (or a backup) at `root` lacks. earlier : kept earlier states count too."""
        lost = []
        have = pictures_in(root)
        lost += [f"picture {name} {sha[:12]}" for sha, name in self.pictures.items() if sha not in have]
        for sha, name in self.photos.items():
            if sha not in [digest(p) for p in papers_in(root, f"{sha}.jpg", earlier=earlier)]:
                lost.append(f"photo {name} {sha[:12]}")
        for uuid, text in self.notes.items():
            found = [read(p) or {} for p in papers_in(root, f"*{uuid}*.json", earlier=earlier)]  # or held
            if not any(text in json.dumps(note, ensure_ascii=False) for note in found):
                lost.append(f"field note {uuid}")
        lost += self._lost_words(words_in(root, earlier=earlier))
        lists = lists_in(root, earlier=earlier)
        lost += self._lost_records(lists)
        return lost

    def _lost_words(self, acts: list[dict[str, Any]]) -> list[str]:
        said = {a.get("uuid"): a for a in acts if a.get("act") == "say"}
        turns: dict[str, bool] = {}
        for a in acts:
            if a.get("act") in ("undo", "redo"):
                turns[a["identification"]] = a["act"] == "undo"
        lost = []
        for uuid, word in self.words.items():
            there = said.get(uuid)
            if there is None:
                if word.sure:
                    lost.append(f"identification {uuid[:8]}")
                continue
            if any(there.get(name) != value for name, value in word.act.items()):
                lost.append(f"identification {uuid[:8]} says something else")
            if turns.get(uuid, False) not in word.undone:
                lost.append(f"what became of identification {uuid[:8]}")
        return lost

    def _lost_records(self, lists: Mapping[str, list[dict[str, Any]]]) -> list[str]:
        lost = []
        for handle, record in self.records.items():
            rows = lists.get(record.name, [])
            fits = any(
                any(all(row.get(k) == v for k, v in fields.items()) for row in rows)
                for fields in record.may
                if fields is not None
            )
            if not fits and None not in record.may:
                lost.append(f"record {handle}")
        return lost

    # Holding the catalogue against it

    def lost_in_catalogue(self, path: Path) -> list[str]:
        """Sentences on what the catalogue lacks."""
        if not path.is_file():
            return ["the catalogue"]
        base = sqlite3.connect(path)
        base.row_factory = sqlite3.Row
        try:
            lost = []
            have = {row["sha256"] for row in base.execute(f"SELECT sha256 FROM {PICTURES}")}
            lost += [f"picture {name} in the catalogue" for sha, name in self.pictures.items() if sha not in have]
            words = {row["uuid"].replace("-", ""): row for row in base.execute(f"SELECT * FROM {IDENTIFICATIONS}")}
            for uuid, word in self.words.items():
                row = words.get(uuid.replace("-", ""))
                if row is None:
                    if word.sure:
                        lost.append(f"identification {uuid[:8]} in the catalogue")
                elif (row["undone_at"] is not None) not in word.undone:
                    lost.append(f"what became of identification {uuid[:8]} in the catalogue")
            lists = {}
            for name, table in TABLES.items():
                rows = [dict(row) for row in base.execute(f"SELECT * FROM {table}")]
                for row in rows:
                    if isinstance(row.get("uuid"), str) and len(row["uuid"]) == 32:
                        u = row["uuid"]
                        row["uuid"] = f"{u[:8]}-{u[8:12]}-{u[12:16]}-{u[16:20]}-{u[20:]}"
                lists[name] = rows
            return lost + [f"{what} in the catalogue" for what in self._lost_records(lists)]
        except (sqlite3.DatabaseError, UnicodeDecodeError) as trouble:
            return [f"the catalogue ({trouble})"]
        finally:
            base.close()


# Own readers ----------------------------------------------------------------------------------------------------


def digest(path: Path) -> str | None:
    """The SHA-256 of a file, or None when it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None


def read(path: Path) -> dict[str, Any] | None:
    """A JSON object, or None when there is none that can be read."""
    try:
        found = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


def bags_in(root: Path) -> Iterator[Path]:
    """Folders with a manifest, in their places: two or three names below the archive, none hidden."""
    for depth in ("*/*", "*/*/*"):
        for path in sorted(root.glob(f"{depth}/{MANIFEST}")):
            if not any(part.startswith(".") for part in path.relative_to(root).parts):
                yield path.parent


def manifest_of(bag: Path) -> dict[str, str]:
    """{path below the bag: SHA-256} as the manifest has it."""
    lines = (bag / MANIFEST).read_text("utf-8", "replace").splitlines()
    return {path: sha for sha, _, path in (line.partition("  ") for line in lines) if path}


def pictures_in(root: Path) -> dict[str, int]:
    """{SHA-256: how many times} of files that lie in a bag whose manifest names them with these bytes."""
    have: dict[str, int] = {}
    for bag in bags_in(root):
        for path, sha in manifest_of(bag).items():
            if digest(bag / path) == sha:
                have[sha] = have.get(sha, 0) + 1
    return have


def papers_in(root: Path, name: str, *, earlier: bool) -> list[Path]:
    """All papers of a name, the earlier states first where they count."""
    found = sorted(root.rglob(name))
    return [p for p in found if earlier or not any(part.startswith(".") for part in p.relative_to(root).parts)]


def words_in(root: Path, *, earlier: bool = False) -> list[dict[str, Any]]:
    """All whole lines of all identifications.jsonl, in their order."""
    acts = []
    for path in papers_in(root, "identifications.jsonl", earlier=earlier):
        for line in path.read_bytes().split(b"\n"):
            try:
                found = json.loads(line)
            except ValueError:
                continue
            if isinstance(found, dict):
                acts.append(found)
    return acts


def lists_in(root: Path, *, earlier: bool = False) -> dict[str, list[dict[str, Any]]]:
    """{list: rows} of ledger, private paper and all sidecars together."""
    lists: dict[str, list[dict[str, Any]]] = {}
    for name in ("ledger.json", "private.json", "sidecar.json"):
        for path in papers_in(root, name, earlier=earlier):
            for key, value in (read(path) or {}).items():
                if key == "deployment" and isinstance(value, dict):
                    lists.setdefault("deployments", []).append(value)
                elif isinstance(value, list):
                    lists.setdefault(key, []).extend(row for row in value if isinstance(row, dict))
    return lists


def unsound(root: Path) -> list[str]:
    """Files that are not as the manifests of their bags say, and papers that are no JSON."""
    wrong = []
    for bag in bags_in(root):
        for path, sha in manifest_of(bag).items():
            if digest(bag / path) != sha:
                wrong.append(f"{bag.relative_to(root).as_posix()}/{path}")
    for name in ("ledger.json", "private.json", "sidecar.json"):
        wrong += [p.relative_to(root).as_posix() for p in papers_in(root, name, earlier=False) if read(p) is None]
    return wrong


def state_of(root: Path) -> dict[str, str]:
    """{path: SHA-256} of every file below a folder."""
    return {p.relative_to(root).as_posix(): digest(p) or "" for p in sorted(root.rglob("*")) if p.is_file()}


def open_to_others(home: Path) -> list[str]:
    """What of archive and catalogue not only its owner may open. (The cache lies behind the same closed door.)"""
    paths = [*sorted((home / "archive").rglob("*")), *sorted(home.glob("catalogue*")), home / "archive"]
    return [p.relative_to(home).as_posix() for p in paths if p.exists() and p.lstat().st_mode & 0o077]
