"""Spans of time to choose from on a page."""

from __future__ import annotations

from datetime import date

SEASONS = ("Winter", "Spring", "Summer", "Autumn")


def seasons(until: date, latitude_deg: float, how_many: int) -> list[tuple[str, date, date]]:
    """The latest seasons that have begun by a day, newest first.

    Whole months (December to February is winter in the north, summer in the south), common practice in weather records.
    """
    year, quarter = (
        until.year,
        (until.month % 12) // 3,
    )  # 0: December to February, named after its January's year
    if until.month == 12:
        year += 1
    out = []
    for _ in range(how_many):
        first = date(year - 1, 12, 1) if quarter == 0 else date(year, 3 * quarter, 1)
        after = date(year, 3 * (quarter + 1), 1)
        last = date.fromordinal(after.toordinal() - 1)
        name = SEASONS[(quarter + (0 if latitude_deg >= 0 else 2)) % 4]
        label = f"{name} {year - 1}/{year % 100:02d}" if quarter == 0 else f"{name} {year}"
        out.append((label, first, last))
        quarter -= 1
        if quarter < 0:
            quarter, year = 3, year - 1
    return out
