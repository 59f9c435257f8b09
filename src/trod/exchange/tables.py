"""Plain tables as CSV: UTF-8, commas, CRLF, quoted where needed (RFC 4180); empty for what is not known."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

# A cell of text that begins so is taken for a formula by spreadsheets; an apostrophe before it keeps it text.
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def cell(value: Any) -> str:
    """One value as text: full precision, ISO dates, booleans as true and false, '' for what is no number."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else ""
    if isinstance(value, int):
        return str(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    text = str(value).replace("\0", "")
    return f"'{text}" if text.startswith(FORMULA) else text


def text(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """The whole table as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([cell(value) for value in row])
    return out.getvalue()
