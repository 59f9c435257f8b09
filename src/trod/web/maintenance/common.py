"""What the keeping pages share."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.http import HttpResponse

from trod.catalogue.models import Deployment


def spans(deployments: Iterable[Deployment], now: datetime) -> list[tuple[datetime, datetime]]:
    """When these stood, up to now."""
    return [(d.start, min(d.end, now) if d.end else now) for d in deployments if d.start < now]


def table_answer(name: str, head: Sequence[str], rows: Iterable[Sequence[Any]]) -> HttpResponse:
    """A CSV file to keep. A text that a spreadsheet would take for a formula is written as text."""
    held = io.StringIO()
    write = csv.writer(held)
    write.writerow(head)
    for row in rows:
        write.writerow(
            [f"'{battery}" if isinstance(battery, str) and battery[:1] in "=+-@\t\r" else battery for battery in row]
        )
    answer = HttpResponse("\ufeff" + held.getvalue(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
