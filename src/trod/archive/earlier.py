"""Earlier states of papers, kept below `.papers/` of the archive.

    .papers/<path of the paper>.kept/<when it was written>-<generation>-<16 digits of its SHA-256>

Of each paper the last `LAST` states, and the last good state of each day it was written on, for `DAYS` such days.
A state is the paper's own bytes under a second name, so keeping one takes no room but that of the state itself.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

from trod.archive import disk
from trod.archive.manifest import hash_file
from trod.archive.register import Kept

FOLDER = ".papers"
LAST = 20
DAYS = 60


def place_of(root: Path, name: str) -> Path:
    """Where a kept state lies. name : below `.papers/`."""
    return root.joinpath(FOLDER, *name.split("/"))


def plan(
    root: Path, path: str, sha256: str, generation: int, *, good: bool, kept: tuple[Kept, ...]
) -> tuple[Kept, tuple[str, ...]]:
    """The name under which a paper is to be kept, and the names of those that are kept no longer."""
    written = datetime.fromtimestamp(root.joinpath(*path.split("/")).stat().st_mtime, UTC)
    name = f"{path}.kept/{written:%Y-%m-%dT%H%M%SZ}-{generation:06}-{sha256[:16]}"
    new = Kept(name, sha256, good)
    states = [*(k for k in kept if k.name != name), new]
    stay = {k.name for k in states[-LAST:]}
    of_day = {day(k): k.name for k in states if k.good}
    stay |= {of_day[d] for d in sorted(of_day)[-DAYS:]}
    return new, tuple(k.name for k in states if k.name not in stay)


def there(root: Path, path: str) -> tuple[Kept, ...]:
    """The kept states of a paper as they lie there, the oldest first; one that is not as its name says is left out."""
    found = []
    for file in sorted(place_of(root, f"{path}.kept").glob("*-*")):
        sha256 = hash_file(file)[0]
        if file.name.endswith(f"-{sha256[:16]}"):
            found.append(Kept(f"{path}.kept/{file.name}", sha256))
    return tuple(found)


def day(kept: Kept) -> str:
    """The day on which a kept state was written, in UTC."""
    return kept.name.rpartition("/")[2][:10]


def keep(root: Path, path: str, name: str) -> None:
    """Keep a paper as it lies there."""
    place = place_of(root, name)
    disk.make_folder(place.parent)
    disk.link(root.joinpath(*path.split("/")), place)


def prune(root: Path, names: Iterable[str]) -> None:
    """Take away states that are kept no longer."""
    for name in names:
        disk.remove(place_of(root, name))


def set_aside(root: Path, name: str) -> None:
    """Move a file of the register that cannot be used out of the way."""
    old = root / name
    if old.exists():
        place = place_of(root, f"{name}/{datetime.fromtimestamp(old.stat().st_mtime, UTC):%Y-%m-%dT%H%M%SZ}")
        disk.make_folder(place.parent)
        disk.rename(old, place)
