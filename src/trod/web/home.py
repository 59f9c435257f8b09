"""TROD_HOME: the one data folder, and what lies where in it (docs/shape.md draws it)."""

from __future__ import annotations

import os
import secrets
from pathlib import Path


def home() -> Path:
    """The data folder: TROD_HOME, else `trod` in the person's own folder. Not made here."""
    return Path(os.environ.get("TROD_HOME") or Path.home() / "trod").expanduser().resolve()


def archive_root() -> Path:
    return home() / "archive"


def thumbs_root() -> Path:
    return home() / "cache" / "thumbs"


def views_root() -> Path:
    return home() / "cache" / "view"


def reports_root() -> Path:
    return home() / "reports"


def secret_key() -> str:
    """The key that signs sessions, made once and kept readable by its owner alone."""
    path = home() / "secret-key"
    try:
        return path.read_text("ascii").strip()
    except FileNotFoundError:
        path.parent.mkdir(parents=True, exist_ok=True)
        key = secrets.token_urlsafe(48)
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:  # another process was first
            return path.read_text("ascii").strip()
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(key + "\n")
        return key


def thumb_path(sha256: str) -> Path:
    """Where a picture's thumbnail lies, made or not."""
    return thumbs_root() / sha256[:2] / f"{sha256}.jpg"


def view_path(sha256: str) -> Path:
    """Where a picture's viewing size lies, made or not."""
    return views_root() / sha256[:2] / f"{sha256}.jpg"
