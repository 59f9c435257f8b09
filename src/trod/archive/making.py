"""A bag in the making: its plan and its journal.

It lies in `.incoming/<name>/`:

    plan.json       what is to be taken, from where, to where; written whole before the first copy
    journal.jsonl   append-only; a line is written only after the file it speaks of is firm on the disk
    parts/          copies that nobody trusts yet
    bag/            the bag itself; a file in it that no journal line speaks of is not trusted either
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
from collections.abc import Iterable, Iterator
from contextvars import ContextVar
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from trod.archive import disk, formats
from trod.archive.card import Entry
from trod.archive.content import Problem
from trod.archive.manifest import distrust, hash_file
from trod.archive.names import printable
from trod.archive.result import Told
from trod.errors import CardTrouble, SourceBusy, WrongInput

INCOMING = ".incoming"
UNPLACED = "unplaced"
PLAN = "plan.json"
JOURNAL = "journal.jsonl"

_SLUG = re.compile(r"[a-z0-9][a-z0-9-]{0,79}", re.ASCII)
NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9._-]{0,98}[A-Za-z0-9_-])?", re.ASCII)


@dataclass(frozen=True)
class Placement:
    """Where a bag belongs. Without a deployment it goes to `unplaced/` until somebody knows."""

    site_slug: str | None = None
    deployment_slug: str | None = None

    def __post_init__(self) -> None:
        for what, slug in (("site_slug", self.site_slug), ("deployment_slug", self.deployment_slug)):
            if slug is not None and (not _SLUG.fullmatch(slug) or (what == "site_slug" and slug == UNPLACED)):
                raise WrongInput(what, got=slug, needed="small letters a-z, digits and hyphens, at most 80")
        if self.deployment_slug is not None and self.site_slug is None:
            raise WrongInput("site_slug", got=None, needed="the site of the deployment")

    @property
    def folder(self) -> str:
        """The folder of the bags, below the archive, with forward slashes."""
        if self.site_slug is None or self.deployment_slug is None:
            return UNPLACED
        return f"{self.site_slug}/{self.deployment_slug}"


@dataclass
class Item:
    """One line of the plan: a file to take and where to. `old` marks one whose source has changed since."""

    entry: Entry
    to: str
    old: bool = False


@dataclass
class Making:
    """A bag in the making, as the plan and the journal tell it."""

    root: Path
    name: str
    source: Path
    place: Placement
    about: dict[str, str]
    now: datetime
    read_back: bool
    items: list[Item]
    left: list[Told]
    done: dict[str, dict[str, Any]] = field(default_factory=dict)  # by `to`
    placing: str | None = None
    lost: list[Told] = field(default_factory=list)
    torn: bool = False
    journal_bytes: int = 0
    notes: list[str] = field(default_factory=list)
    trouble: list[Told] = field(default_factory=list)  # of folders and of the card as a whole
    planned: dict[str, Item] = field(default_factory=dict)  # by `to`

    def __post_init__(self) -> None:
        self.planned = {i.to: i for i in self.items}

    def take_on(self, items: Iterable[Item]) -> None:
        """Carry on the plan."""
        for item in items:
            self.items.append(item)
            self.planned[item.to] = item

    @property
    def home(self) -> Path:
        return self.root / INCOMING / self.name

    @property
    def bag(self) -> Path:
        return self.home / "bag"

    @property
    def parts(self) -> Path:
        return self.home / "parts"

    @property
    def bag_path(self) -> str:
        return f"{self.place.folder}/{self.name}"

    @property
    def destination(self) -> Path:
        return self.root.joinpath(*self.bag_path.split("/"))

    def below_bag(self, to: str) -> Path:
        return self.bag.joinpath(*to.split("/"))

    @property
    def pending(self) -> list[Item]:
        return [i for i in self.items if i.to not in self.done and not i.old]

    def write_plan(self, folder: Path) -> None:
        plan = {
            "trod": formats.FORMAT,
            "kind": "card_import",
            "name": self.name,
            "source": str(self.source),
            "site": self.place.site_slug,
            "deployment": self.place.deployment_slug,
            "about": self.about,
            "now": self.now.isoformat(),
            "read_back": self.read_back,
            "items": [{"to": i.to, "old": i.old, **asdict(i.entry)} for i in self.items],
            "left": [asdict(t) for t in self.left],
            "trouble": [asdict(t) for t in self.trouble],
        }
        disk.write_file(folder / PLAN, json.dumps(plan).encode())

    def enter(self, lines: Iterable[dict[str, Any]]) -> None:
        """Append lines to the journal, firm. Only now does anybody trust what they say."""
        lines = list(lines)
        if lines:
            disk.append(self.home / JOURNAL, b"".join(json.dumps(line).encode() + b"\n" for line in lines))
            for line in lines:
                self.heed(line)

    def heed(self, line: dict[str, Any]) -> None:
        """Carry on the state by one line of the journal."""
        if line["what"] == "placing":
            self.placing = str(line["tagmanifest"])
            self.lost = [Told(**t) for t in line["lost"]]
        elif line["what"] == "trouble":
            self.trouble = [Told(**t) for t in line["told"]]
        elif line["what"] == "redo":
            self.done.pop(line["to"], None)
        elif line["to"] in self.planned:
            self.done[line["to"]] = line


def read_making(root: Path, home: Path) -> Making:
    """The state of an unfinished import, from its plan and its journal. Raises CardTrouble without a plan."""
    try:
        plan = json.loads((home / PLAN).read_bytes())
        if plan["trod"] != formats.FORMAT or plan["kind"] != "card_import":
            raise ValueError("of another format")
        items = []
        for line in plan["items"]:
            to, old = line.pop("to"), line.pop("old")
            line["problems"] = tuple(Problem(p) for p in line["problems"])
            if distrust(to, payload=True) is not None:
                raise ValueError("names a path outside the bag")
            items.append(Item(Entry(**line), to, old))
        making = Making(
            root=root,
            name=home.name,
            source=Path(plan["source"]),
            place=Placement(plan["site"], plan["deployment"]),
            about=plan["about"],
            now=datetime.fromisoformat(plan["now"]),
            read_back=plan["read_back"],
            items=items,
            left=[Told(**t) for t in plan["left"]],
            trouble=[Told(**t) for t in plan.get("trouble", ())],
        )
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as problem:
        raise CardTrouble(
            f"The plan of the unfinished import {home.name} cannot be used ({problem}). The copies in {home} "
            "are untouched; move that folder aside, then import the card again."
        ) from problem
    journal = home / JOURNAL
    data = journal.read_bytes() if journal.exists() else b""
    lines, torn = disk.whole_lines(data)
    making.torn, making.journal_bytes = bool(torn), len(data) - len(torn)
    for line in lines:
        try:
            making.heed(json.loads(line))
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            making.torn = True  # a damaged line is believed in no part; its file is taken anew
    return making


@contextlib.contextmanager
def alone(root: Path, name: str) -> Iterator[None]:
    """Hold an import for this process alone. Raises SourceBusy."""
    lock = disk.Lock(root / INCOMING / f"{name}.lock", wait_s=0)
    try:
        lock.__enter__()
    except TimeoutError as problem:
        raise SourceBusy(
            f"The import {name} is being made by another process. Wait until that has ended, then look at the "
            "Cards page or give the command again."
        ) from problem
    try:
        yield
    finally:
        lock.__exit__()


_held: ContextVar[frozenset[Path]] = ContextVar("trod_held_sources", default=frozenset())


@contextlib.contextmanager
def source_alone(root: Path, source: Path) -> Iterator[None]:
    """Hold a source, with all folders in and around it, for this process alone; within itself it may be nested.

    Two imports of one card at once would each keep what the other keeps. Raises SourceBusy when another is at work
    on it. The lock dies with its holder.
    """
    here = source.resolve()
    note = Path(root) / INCOMING / f"source-{hashlib.sha256(os.fsencode(here)).hexdigest()[:32]}.path"
    if note in _held.get():
        yield
        return
    lock = disk.Lock(note.with_suffix(".lock"), wait_s=0)
    with disk.trouble_told(root, "the source was looked for among those at work"):
        disk.make_folder(note.parent)
        try:
            lock.__enter__()
        except TimeoutError as problem:
            raise _busy(source) from problem
    try:
        with disk.trouble_told(root, "the source was entered among those at work"):
            disk.remove(note)
            fd = disk.create(note)
            try:
                disk.write(fd, os.fsencode(here))
            finally:
                os.close(fd)
            for other in note.parent.glob("source-*.path"):
                if other != note and _overlaps(other, here):
                    raise _busy(source)
        token = _held.set(_held.get() | {note})
        try:
            yield
        finally:
            _held.reset(token)
    finally:
        _sweep_source(note)
        lock.__exit__()


def _busy(source: Path) -> SourceBusy:
    return SourceBusy(
        f"{printable(str(source))} is being imported already. Wait until that has ended, then look at the Cards page "
        "or give the command again."
    )


def _overlaps(note: Path, here: Path) -> bool:
    """Whether the source of another note lies in or around this one, and its holder lives."""
    try:
        with disk.Lock(note.with_suffix(".lock"), wait_s=0):
            _sweep_source(note)  # its holder died
            return False
    except TimeoutError:
        with contextlib.suppress(FileNotFoundError):
            other = Path(os.fsdecode(note.read_bytes()))
            return other in here.parents or here in other.parents
        return False


def _sweep_source(note: Path) -> None:
    for ending in (".path", ".lock"):
        with contextlib.suppress(OSError):
            note.with_suffix(ending).unlink()


def is_whole(path: Path, sha256: str, size_bytes: int, deep: bool) -> bool:
    """Whether a plain file is there with this size and, when `deep`, these bytes on the disk itself."""
    try:
        if path.is_symlink() or path.stat().st_size != size_bytes:
            return False
        return not deep or hash_file(path, from_disk=True)[0] == sha256
    except OSError:
        return False


def really_there(making: Making, where: str, sha256: str, size_bytes: int, deep: bool) -> bool:
    """Whether the copy that the catalogue speaks of is there indeed."""
    if distrust(where, payload=False) is not None or where.startswith(INCOMING):
        return False
    return is_whole(making.root.joinpath(*where.split("/")), sha256, size_bytes, deep)
