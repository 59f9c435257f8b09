"""Where cards may lie, and who may look there: folders only, and only for whoever sits at this machine."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from django.http import HttpRequest

from trod.archive.card import MountedCard, mounted_cards
from trod.archive.names import printable
from trod.catalogue import home
from trod.web.access import from_this_machine

MOST_FOLDERS = 400


def may_browse(request: HttpRequest) -> bool:
    """Whether this caller may look through the machine's folders: only from the machine itself."""
    return from_this_machine(request)


def plugged_in() -> list[MountedCard]:
    """Cards and other removable disks, those with pictures first; in the demo also its two cards."""
    extra = [os.environ.get("TROD_CARD_ROOTS", "")]
    demo = home.home() / "demo-cards"
    if demo.is_dir():
        extra += sorted(str(p) for p in demo.iterdir() if p.is_dir())
    return mounted_cards({**os.environ, "TROD_CARD_ROOTS": os.pathsep.join(filter(None, extra))})


def allowed(request: HttpRequest, path: Path) -> bool:
    """Whether a caller may name this folder as a source: at the machine itself any, else only a card."""
    if may_browse(request):
        return True
    place = path.resolve()
    return any(place == c.path.resolve() or c.path.resolve() in place.parents for c in plugged_in())


@dataclass(frozen=True)
class Folder:
    """One folder in the browser. shown: its name, fit for a page."""

    path: str
    shown: str
    has_dcim: bool


@dataclass(frozen=True)
class Browsed:
    """One look into a folder. hidden: folders whose names cannot be written in an address."""

    path: str
    shown: str
    above: str | None
    trail: tuple[Folder, ...]
    folders: tuple[Folder, ...]
    hidden: int
    pictures: int
    trouble: str = ""

    @property
    def name(self) -> str:
        """The last part of the path, fit for a page."""
        return printable(Path(self.path).name) or self.shown


def browse(path: Path) -> Browsed:
    """The folders below a folder, and how many pictures lie right in it. Follows no link; reads no file."""
    from trod.archive.content import kind_of

    place = path.expanduser().resolve()
    folders, hidden, pictures, trouble = [], 0, 0, ""
    try:
        with os.scandir(place) as found:
            for item in found:
                try:
                    if item.name.startswith(".") or item.is_symlink():
                        continue
                    if item.is_dir(follow_symlinks=False):
                        if not _writable_in_address(item.name):
                            hidden += 1
                        elif Path(item.path) != home.home():
                            folders.append(_folder(Path(item.path)))
                    elif kind_of(item.name) in ("picture", "clip"):
                        pictures += 1
                except OSError:
                    continue
    except OSError as problem:
        trouble = f"This folder cannot be read: {problem.strerror or problem}."
    folders.sort(key=lambda f: (not f.has_dcim, f.shown.casefold()))
    more = len(folders) - MOST_FOLDERS
    if more > 0:
        trouble = f"{more} more folders are not shown; give the path instead."
    trail = tuple(Folder(str(p), printable(p.name) or str(p), False) for p in reversed(place.parents))
    return Browsed(
        path=str(place),
        shown=printable(str(place)),
        above=str(place.parent) if place.parent != place else None,
        trail=trail,
        folders=tuple(folders[:MOST_FOLDERS]),
        hidden=hidden,
        pictures=pictures,
        trouble=trouble,
    )


def _writable_in_address(name: str) -> bool:
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return "\0" not in name


def _folder(path: Path) -> Folder:
    try:
        with os.scandir(path) as found:
            dcim = any(item.name.upper() == "DCIM" for _, item in zip(range(200), found, strict=False))
    except OSError:
        dcim = False
    return Folder(str(path), printable(path.name), dcim or path.name.upper() == "DCIM")
