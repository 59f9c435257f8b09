"""Closed seasons as a person writes them: one a line, "1 Apr – 15 Jul: ground-nesting birds"."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from typing import Any

from trod.errors import WrongInput

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
SHOWN = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
EXAMPLE = "1 Apr – 15 Jul: ground-nesting birds"
MOST = 12
_DAY = r"(?:(\d{1,2})\.?\s+([A-Za-z]{3,9})\.?|([A-Za-z]{3,9})\.?\s+(\d{1,2}))"
_LINE = re.compile(rf"\s*{_DAY}\s*(?:–|—|-|to|until)\s*{_DAY}\s*(?:[:,;]\s*(.*))?", re.I)
_PLAIN = re.compile(r"\s*(\d\d)-(\d\d)\s*(?:–|—|to|until|\.\.)\s*(\d\d)-(\d\d)\s*(?:[:,;]\s*(.*))?")


def read(text: str) -> list[dict[str, str]]:
    """The lines as `Site.closed` keeps them. Raises WrongInput naming the line that cannot be read."""
    out = []
    for line in filter(None, (part.strip() for part in text.splitlines())):
        plain, told = _PLAIN.fullmatch(line), _LINE.fullmatch(line)
        if plain:
            first, last, why = f"{plain[1]}-{plain[2]}", f"{plain[3]}-{plain[4]}", plain[5]
            days = [(int(plain[1]), int(plain[2])), (int(plain[3]), int(plain[4]))]
        elif told:
            days = [_month_day(told[n] or told[n + 3], told[n + 1] or told[n + 2]) for n in (1, 5)]
            first, last = (f"{m:02d}-{d:02d}" for m, d in days)
            why = told[9]
        else:
            raise WrongInput("closed season", got=line[:80], needed=f"a line like {EXAMPLE}")
        for month, day in days:
            try:
                date(2000, month, day)  # a leap year, so that 29 February may stand
            except ValueError:
                raise WrongInput("closed season", got=line[:80], needed="days that the calendar has") from None
        out.append({"from": first, "to": last, "why": (why or "closed").strip()[:200]})
    if len(out) > MOST:
        raise WrongInput("closed season", got=f"{len(out)} lines", needed=f"at most {MOST}")
    return out


def _month_day(day: str, name: str) -> tuple[int, int]:
    low = name.lower()[:3]
    if low not in MONTHS:
        raise WrongInput("closed season", got=name, needed="a month by its English name, such as Apr")
    return MONTHS.index(low) + 1, int(day)


def write(closed: Any) -> str:
    """What a site keeps, as lines."""
    lines = []
    for row in closed if isinstance(closed, Iterable) and not isinstance(closed, str | dict) else []:
        try:
            ends = [(int(a), int(b)) for a, b in (str(row[k]).split("-") for k in ("from", "to"))]
            span = " – ".join(f"{d} {SHOWN[m - 1]}" for m, d in ends)
        except (KeyError, TypeError, ValueError, IndexError):
            continue
        lines.append(f"{span}: {row.get('why') or 'closed'}")
    return "\n".join(lines)
