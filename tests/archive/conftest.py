"""Cards to import, and the short way to do it."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from trod.archive.card import scan
from trod.archive.card_import import ImportResult, Placement, import_card, resume
from trod.archive.sidecar import walk

NOW = datetime(2026, 5, 17, 12, 0, tzinfo=UTC)
FORD = Placement("willow-ford", "2026-spring")


def jpeg(number: int, size_bytes: int = 2000) -> bytes:
    """Bytes that begin and end as a JPEG does, different for each number."""
    body = hashlib.shake_256(str(number).encode()).digest(size_bytes - 6).replace(b"\xff\xd9", b"\xff\x00")
    return b"\xff\xd8\xff\xe1" + body + b"\xff\xd9"


def fill(card: Path, files: dict[str, bytes]) -> Path:
    """Write files below a folder, with whole-second times that FAT could keep too."""
    for number, (path, content) in enumerate(files.items()):
        place = card.joinpath(*path.split("/"))
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)
        os.utime(place, ns=((1_780_000_000 + 2 * number) * 10**9,) * 2)
    return card


def state(folder: Path) -> dict[str, tuple[int, int, str]]:
    """Everything about a tree that a careless reader could change: times, modes, bytes."""
    found = {}
    for path in sorted([folder, *folder.rglob("*")]):
        status = path.lstat()
        content = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
        found[str(path)] = (status.st_mtime_ns, status.st_mode, content)
    return found


class Desk:
    """A card, an archive, and a technician who knows what to say."""

    jpeg, fill, state = staticmethod(jpeg), staticmethod(fill), staticmethod(state)
    now, ford = NOW, FORD

    def __init__(self, folder: Path) -> None:
        self.card, self.root = folder / "card", folder / "archive"
        self.card.mkdir()

    def pictures(self, count: int = 12, size_bytes: int = 2000, first: int = 1) -> Path:
        names = {f"DCIM/100MEADW/MEAD{n:04}.JPG": jpeg(n, size_bytes) for n in range(first, first + count)}
        return fill(self.card, names)

    def take(self, name: str = "one", **changes: Any) -> ImportResult:
        arguments: dict[str, Any] = {
            "place": FORD,
            "name": name,
            "about": {"Contact-Name": "Ada Fenn"},
            "already_have": lambda sha256: None,
            "now": NOW,
        }
        source = changes.pop("source", self.card)
        return import_card(scan(source), self.root, **{**arguments, **changes})

    def resume(self, name: str = "one", **changes: Any) -> ImportResult:
        return resume(self.root, name, **{"already_have": lambda sha256: None, **changes})

    def known(self) -> dict[str, str]:
        """{SHA-256: path below the archive} of all files in bags: the memory of an archive without a catalogue."""
        bags = [bag for folder in walk(self.root) for bag in folder.bags]
        return {file.sha256: f"{bag.path}/{file.path}" for bag in bags for file in bag.files}

    def bag(self, result: ImportResult) -> Path:
        assert result.bag is not None
        return self.root.joinpath(*result.bag.split("/"))


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


@pytest.fixture
def quick_desk(tmp_path: Path) -> Iterator[Desk]:
    """A desk in memory where there is such a place: a kill leaves the same there, and a flush is free."""
    memory = Path("/dev/shm")
    if not os.access(memory, os.W_OK):
        yield Desk(tmp_path)
        return
    with tempfile.TemporaryDirectory(prefix="trod-test-", dir=memory) as folder:
        yield Desk(Path(folder))
