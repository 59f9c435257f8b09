"""What stands in an address, or in a form that Trod itself wrote."""

from __future__ import annotations

import re


def whole(text: str) -> int | None:
    """The number of an address or a form that Trod itself wrote: up to nine plain digits, else None."""
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) else None
