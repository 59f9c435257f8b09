"""The text of a file that somebody brings: which encoding it is in, and how long it may be."""

from __future__ import annotations

from trod import limits
from trod.errors import WrongInput

MOST_BYTES = limits.LIST_BYTES


def decode(data: bytes) -> str:
    """The text of a file: UTF-8 with or without a mark, UTF-16 with one, else Latin-1 (as Windows writes it)."""
    if len(data) > MOST_BYTES:
        raise WrongInput("file", got=f"{len(data) / 1e6:.1f} MB", needed=f"at most {MOST_BYTES / 1e6:.0f} MB; part it")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", "replace")
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data.decode("latin-1")
