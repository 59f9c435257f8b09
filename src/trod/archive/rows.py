"""The records in a paper, by their keys: what a new state of it would lose."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

# A row is known by the first of these fields that it has; two kinds are known by two fields together.
KEY_FIELDS = ("uuid", "slug", "serial", "label", "name", "key")
DOUBLE_KEYS = {"findings": ("question", "at"), "round_stops": ("round", "turn")}
DELETED = "deleted"
# What is computed anew from the pictures at any time, or is a record of the archive itself.
NOT_ENTERED = frozenset({"sequences", "moves", DELETED})


def key_of(kind: str, row: Mapping[str, Any]) -> str | None:
    """What a row of a kind is known by, in words; None when it has nothing of the sort."""
    if kind in DOUBLE_KEYS:
        return " ".join(str(row.get(name)) for name in DOUBLE_KEYS[kind])
    name = next((name for name in KEY_FIELDS if row.get(name) is not None), None)
    return str(row[name]) if name is not None else None


def rows_of(fields: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """(kind, key) of all that was entered in a paper. Each top-level list of objects holds one kind."""
    for kind, rows in fields.items():
        if kind in NOT_ENTERED or not isinstance(rows, list):
            continue
        for row in rows:
            if isinstance(row, dict) and (key := key_of(kind, row)) is not None:
                yield kind, key


def count(fields: Mapping[str, Any]) -> int:
    """How many records a paper holds."""
    objects = sum(1 for value in fields.values() if isinstance(value, dict))
    return objects + sum(len(value) for value in fields.values() if isinstance(value, list))


def vanished(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[tuple[str, str]]:
    """The rows of a paper that its new state has no more and does not name as deleted.

    The new state names them in its own field "deleted": [{"kind", "key", "at", "by"}, …].
    """
    told = {(str(d.get("kind")), str(d.get("key"))) for d in new.get(DELETED, ()) if isinstance(d, dict)}
    stay = set(rows_of(new)) | told
    return [row for row in dict.fromkeys(rows_of(old)) if row not in stay]


def is_under_rule(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    """Whether the writer of a paper keeps a record of deletions; a paper that ever had one is held to it."""
    return DELETED in old or DELETED in new


def stand_elsewhere(root: Path, path: str, rows: list[tuple[str, str]]) -> set[tuple[str, str]]:
    """Those of some rows that another paper of the archive holds: a visit or an import moves between papers.

    The paper that a row moves to is to be written before the one that it leaves.
    """
    from trod.archive import sidecar
    from trod.errors import CatalogueTrouble

    wanted, found = set(rows), set[tuple[str, str]]()
    places = [(root, sidecar.LEDGER, "ledger")]
    places += [(folder, sidecar.SIDECAR, "deployment") for _, _, folder in sidecar.folders_of_bags(root)]
    for folder, name, kind in places:
        if (folder / name).relative_to(root).as_posix() == path or wanted <= found:
            continue
        try:
            found |= wanted & set(rows_of(sidecar.read_json(folder / name, kind) or {}))
        except (CatalogueTrouble, OSError):
            continue
    return found
