"""The folders of the archive: where deployments and bags lie."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from trod.archive.making import INCOMING, UNPLACED

# Told of a folder that cannot be listed. Without one it counts as empty; `verify` tells of it.
Unread = Callable[[Path, OSError], object]


def folders_of_bags(archive_root: Path, unread: Unread | None = None) -> Iterator[tuple[str | None, str | None, Path]]:
    """(site slug, deployment slug, folder) of each deployment by name, then (None, None, unplaced/)."""
    root = Path(archive_root)
    for site in folders_in(root, unread):
        if site.name not in (UNPLACED, INCOMING):
            for deployment in folders_in(site, unread):
                yield site.name, deployment.name, deployment
    if (root / UNPLACED).is_dir():
        yield None, None, root / UNPLACED


def bag_folders(archive_root: Path, unread: Unread | None = None) -> Iterator[Path]:
    """Every folder that is, or should be, a bag in its place."""
    for _, _, folder in folders_of_bags(archive_root, unread):
        yield from folders_in(folder, unread)


def folders_in(folder: Path, unread: Unread | None = None) -> list[Path]:
    """The folders in a folder by name; those whose name begins with a full stop are none of ours."""
    try:
        found = [p for p in folder.iterdir() if not p.name.startswith(".")]
    except OSError as problem:
        if unread is not None:
            unread(folder, problem)
        return []
    return sorted(p for p in found if p.is_dir() and not p.is_symlink())
