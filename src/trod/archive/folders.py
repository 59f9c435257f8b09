"""The folders of the archive: where deployments and bags lie."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from trod.archive.making import INCOMING, UNPLACED


def folders_of_bags(archive_root: Path) -> Iterator[tuple[str | None, str | None, Path]]:
    """(site slug, deployment slug, folder) of each deployment by name, then (None, None, unplaced/)."""
    root = Path(archive_root)
    for site in folders_in(root):
        if site.name not in (UNPLACED, INCOMING):
            for deployment in folders_in(site):
                yield site.name, deployment.name, deployment
    if (root / UNPLACED).is_dir():
        yield None, None, root / UNPLACED


def bag_folders(archive_root: Path) -> Iterator[Path]:
    """Every folder that is, or should be, a bag in its place."""
    for _, _, folder in folders_of_bags(archive_root):
        yield from folders_in(folder)


def folders_in(folder: Path) -> list[Path]:
    """The folders in a folder by name; those whose name begins with a full stop are none of ours."""
    try:
        found = [p for p in folder.iterdir() if not p.name.startswith(".")]
    except OSError:  # `verify` tells of it
        return []
    return sorted(p for p in found if p.is_dir() and not p.is_symlink())
