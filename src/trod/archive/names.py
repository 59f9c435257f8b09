"""Names from a card, made safe for every disk we know.

A card can carry any name: written by a camera, a phone, a careless program or a hostile hand. In the bag a
file gets a name that Linux, macOS and Windows all accept and that no program mistakes for another; a
well-behaved name is kept as it is. Where the two differ, the bag says so (`card-names.jsonl`).
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable

LONGEST_NAME_BYTES = 120  # of one name; most disks allow 255, eCryptfs 143
LONGEST_PATH_BYTES = 180  # of the path below data/; Windows allows 260 characters for the whole path
DEEP = "deep"  # the folder below data/ for files whose path is longer

# Reserved on Windows with any ending: Microsoft, "Naming Files, Paths, and Namespaces".
_RESERVED = re.compile(r"(?i)^(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])(?=\s*(\.|$))")
# Not allowed on Windows, or (%) read in two ways by BagIt tools.
_FORBIDDEN = set('<>:"/\\|?*%')
# Control, format (also the marks that turn the reading direction), surrogate, private, unassigned, line ends.
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def printable(name: str) -> str:
    """A name fit for a screen or a log: what cannot be seen, or would steer a terminal, is spelled out."""
    return "".join(c.encode("unicode_escape").decode("ascii") if unicodedata.category(c) in _UNSEEN else c for c in name)


def _short(name: str, original: str, limit_bytes: int) -> str:
    """A name of at most `limit_bytes` in UTF-8 that keeps its ending and stays apart from its neighbours."""
    if len(name.encode()) <= limit_bytes:
        return name
    mark = "~" + hashlib.sha256(original.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    stem, dot, ending = name.rpartition(".")
    if not stem or len(ending.encode()) > 10:
        stem, dot, ending = name, "", ""
    room = limit_bytes - len((mark + dot + ending).encode())
    return stem.encode()[:room].decode("utf-8", "ignore").rstrip(" .") + mark + dot + ending


def safe_name(name: str) -> str:
    """One name (no path) that every disk takes; the same as `name` when that is harmless."""
    safe = unicodedata.normalize("NFC", name)
    safe = "".join("_" if c in _FORBIDDEN or unicodedata.category(c) in _UNSEEN else c for c in safe)
    safe = safe.strip(" ").rstrip(" .")
    if not safe.strip("."):  # "", ".", "..", "..."
        safe = "_" * max(1, len(safe))
    if _RESERVED.match(safe):
        safe = "_" + safe
    return _short(safe, name, LONGEST_NAME_BYTES)


def is_hostile(path: str) -> bool:
    """Whether a path on a card needs another name in the archive, beyond its Unicode form."""
    return any(safe_name(part) != unicodedata.normalize("NFC", part) for part in path.split("/"))


def same_place(path: str) -> str:
    """A key that is equal for two paths which some disk takes for one: case and Unicode form do not count."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def safe_paths(paths: Iterable[str], taken: Iterable[str] = ()) -> dict[str, str]:
    """A safe path for each path, no two of them the same place on any disk.

    paths : as on the card, with forward slashes; of two rivals the first keeps its name.
    taken : safe paths given out before, which stay theirs.
    Returns {path on the card: safe path}. The answer depends on the arguments alone.
    """
    paths = list(dict.fromkeys(paths))
    folders = {DEEP: DEEP}  # same_place of a folder -> the first spelling of it
    files: set[str] = set()
    for path in taken:
        files.add(same_place(path))
        at = ""
        for part in path.split("/")[:-1]:
            at = f"{at}/{part}" if at else part
            folders.setdefault(same_place(at), at)

    homes: dict[str, str] = {}
    for path in paths:  # all folders before all files, so that a file gives way to a folder of its name
        at = ""
        for part in path.split("/")[:-1]:
            wish = f"{at}/{safe_name(part)}" if at else safe_name(part)
            while same_place(wish) in files:
                wish += "~"
            at = folders.setdefault(same_place(wish), wish)
        homes[path] = at

    result: dict[str, str] = {}
    for path in paths:
        name = safe_name(path.split("/")[-1])
        home = homes[path]
        wish = f"{home}/{name}" if home else name
        if len(wish.encode()) > LONGEST_PATH_BYTES:
            mark = hashlib.sha256(path.encode("utf-8", "surrogatepass")).hexdigest()[:16]
            home, name = DEEP, f"{mark}-{_short(name, name, 60)}"
            wish = f"{home}/{name}"
        stem, dot, ending = name.rpartition(".")
        if not stem:
            stem, dot, ending = name, "", ""
        count = 2
        while same_place(wish) in files or same_place(wish) in folders:
            again = f"{stem}~{count}{dot}{ending}"
            wish = f"{home}/{again}" if home else again
            count += 1
        files.add(same_place(wish))
        result[path] = wish
    return result
