"""Where thumbnails and viewing sizes lie, and making the one that is missing."""

from __future__ import annotations

from pathlib import Path

from trod.catalogue import home
from trod.pictures import clips
from trod.pictures import picture as pictures

KINDS = {"thumb": (home.thumb_path, pictures.THUMB_WIDTH), "view": (home.view_path, pictures.VIEW_WIDTH)}


def place(kind: str, sha256: str) -> Path:
    """The file of a picture's thumbnail or viewing size, whether it is there or not. kind : thumb or view."""
    return KINDS[kind][0](sha256)


def original(path: str) -> Path | None:
    """A picture's file by its path below the archive; None when it is not there or would lead elsewhere."""
    root = home.archive_root()
    try:
        found = (root / path).resolve(strict=True)
    except (OSError, ValueError, RuntimeError):  # not there; a NUL in the name; links in a ring
        return None
    return found if found.is_relative_to(root.resolve()) and found.is_file() else None


def ensure(kind: str, sha256: str, path: str) -> Path | None:
    """The thumbnail or viewing size, made now if it is missing; None when there is no picture to be seen.

    Raises DiskFull or OSError when the cache cannot be written.
    """
    if Path(path).suffix.lower() in clips.CLIP_ENDINGS:
        kind = "thumb"  # of a clip there is its first frame
    made = place(kind, sha256)
    if made.is_file():
        return made
    source = original(path)
    if source is None:
        return None
    if source.suffix.lower() in clips.CLIP_ENDINGS:
        return made if clips.look(source, thumb_to=made).thumb else None
    return made if pictures.make_view(source, made, width=KINDS[kind][1]) else None
