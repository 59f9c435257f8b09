"""TROD_HOME: the one data folder, and what lies where in it (docs/shape.md draws it)."""

from __future__ import annotations

import os
import secrets
import stat
from pathlib import Path


def home() -> Path:
    """The data folder: TROD_HOME, else `trod` in the person's own folder. Not made here."""
    return Path(os.environ.get("TROD_HOME") or Path.home() / "trod").expanduser().resolve()


def archive_root() -> Path:
    """The folder of the archive, which holds the truth."""
    return home() / "archive"


def thumbs_root() -> Path:
    """The folder of small pictures; may be deleted."""
    return home() / "cache" / "thumbs"


def views_root() -> Path:
    """The folder of pictures in viewing size; may be deleted."""
    return home() / "cache" / "view"


def reports_root() -> Path:
    """The folder of finished reports."""
    return home() / "reports"


def make() -> None:
    """See that the data folder is there, for its owner alone when it is made here."""
    home().mkdir(mode=0o700, parents=True, exist_ok=True)


# What lies in a data folder beside the archive, which keeps its own. Folders that are closed close what is in them.
OWN = (
    "catalogue.sqlite3*", "secret-key", "cache", "reports", "at-work", "cards", "last-fault.txt", "last-backup.json",
)  # fmt: skip


def guard() -> list[str]:
    """Close what lies in the data folder to everybody but its owner: files 0600, folders 0700.

    Returns a sentence for each that could not be closed. Windows has no such modes: there the folder's own rights,
    which a person's own folder gives to that person alone, are left as they are.
    """
    if os.name == "nt":
        return []
    told = []
    for path in (home(), *(found for name in OWN for found in sorted(home().glob(name)))):
        try:
            seen = path.lstat()
            if stat.S_ISLNK(seen.st_mode) or not stat.S_IMODE(seen.st_mode) & 0o077:
                continue
            path.chmod(0o700 if stat.S_ISDIR(seen.st_mode) else 0o600)
            mode = stat.S_IMODE(path.lstat().st_mode)
        except FileNotFoundError:
            continue
        except OSError as problem:
            mode = -1
            told.append(f"{path} is open to others and cannot be closed ({problem.strerror}).")
        if mode > 0 and mode & 0o077:
            told.append(f"{path} is open to others: this disk knows no rights. Keep it on one that does.")
    return told


def secret_key() -> str:
    """The key that signs sessions, made once, whole or not at all, and kept readable by its owner alone."""
    path = home() / "secret-key"
    for _ in range(2):
        try:
            if key := path.read_text("ascii").strip():
                return key
            path.unlink(missing_ok=True)  # a power cut or a full disk left it empty
        except FileNotFoundError:
            pass
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        aside = path.with_name(f"secret-key.{os.getpid()}-{secrets.token_hex(4)}")
        handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            with os.fdopen(handle, "w", encoding="ascii") as file:
                file.write(secrets.token_urlsafe(48) + "\n")
                file.flush()
                os.fsync(file.fileno())
            _name_once(aside, path)
        finally:
            aside.unlink(missing_ok=True)
    return path.read_text("ascii").strip()


def _name_once(aside: Path, path: Path) -> None:
    """Give a file its name unless another process was first."""
    try:
        os.link(aside, path)
    except FileExistsError:
        return
    except OSError:  # a disk without hard links: then the last one wins, and all read that one
        aside.replace(path)


def thumb_path(sha256: str) -> Path:
    """Where a picture's thumbnail lies, made or not."""
    return thumbs_root() / sha256[:2] / f"{sha256}.jpg"


def view_path(sha256: str) -> Path:
    """Where a picture's viewing size lies, made or not."""
    return views_root() / sha256[:2] / f"{sha256}.jpg"
