"""What a field form takes: one table for its page and for the reader at home.

What the page took must not be refused at home, where a file is taken whole or not at all. So neither has limits of its
own: the page gets these with its data (`making.py`), the reader holds every file against them (`reading.py`).
"""

from __future__ import annotations

from typing import Any, Literal, NamedTuple

from trod import limits

KIND = "visits"  # of the file that comes back
TOKEN_HEADER = "X-Trod-Field-Form"  # of a request that hands a visit in  # noqa: S105 - a name

LONGEST_TEXT = 4000
SHORT_TEXT = 200
LONGEST_NAME = 80  # of who was there
LONGEST_CARD = 64

MOST_PASSES = 100
MOST_PHOTOS = limits.FIELD_FORM_PHOTOS  # of one visit
PHOTO_SIDE = 1600  # the page makes a photo that small [px]
PHOTOS_BYTES = 40_000_000  # of all photos of one field form on one phone, before they become text

FIRST_YEAR, LAST_YEAR = 1990, 2200  # of every time in the file


class Bound(NamedTuple):
    """From low to high, both taken. kind : "whole" numbers alone; a "length" in metres, typed in the person's unit."""

    low: float
    high: float
    kind: Literal["", "whole", "length"] = ""


NUMBERS = {
    "battery_percent": Bound(0, 100),
    "changes.height_m": Bound(0, 30, "length"),
    "changes.tilt_deg": Bound(-90, 90),
    "changes.heading_deg": Bound(0, 360),
    "changes.burst": Bound(1, 999, "whole"),
    "changes.delay_s": Bound(0, 86_400),
    "distance_m": Bound(0, 200, "length"),
}


def for_page() -> dict[str, Any]:
    """The limits as the page's script reads them.

    A year is by the phone's own time there and in UTC at home, so the page keeps one year within.
    """
    return {
        "numbers": NUMBERS,
        "photos": MOST_PHOTOS,
        "photo_side": PHOTO_SIDE,
        "photo_bytes": PHOTOS_BYTES,
        "walk_passes": MOST_PASSES,
        "years": (FIRST_YEAR + 1, LAST_YEAR - 1),
    }
