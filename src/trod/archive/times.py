"""When each file of a bag was last changed, as it stood on the card: a tag file of the bag.

A picture carries its own time, but a clip, a damaged picture and one of an old camera may have none but the file's,
and that is lost when an archive goes through a disk, an archive file or a service that keeps no such times.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

TIMES = "times.jsonl"


def write(times_ns: Mapping[str, int]) -> bytes:
    """The text of the tag file: {path below the bag: nanoseconds since 1970 in UTC, as the card's disk gave them}."""
    lines = (json.dumps({"path": path, "mtime_ns": ns}, sort_keys=True) for path, ns in sorted(times_ns.items()))
    return "".join(f"{line}\n" for line in lines).encode()


def read(bag: Path) -> dict[str, int]:
    """{path below the bag: nanoseconds since 1970}; empty for a bag that was made without, or cannot be read."""
    found: dict[str, int] = {}
    try:
        data = (bag / TIMES).read_bytes()
    except OSError:
        return found
    for line in data.split(b"\n"):
        try:
            fields = json.loads(line)
            found[str(fields["path"])] = int(fields["mtime_ns"])
        except (ValueError, KeyError, TypeError, RecursionError):
            continue
    return found
