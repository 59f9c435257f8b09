"""What the keeping pages share."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.core import serializers
from django.db import models
from django.http import HttpRequest, HttpResponse

from trod.catalogue.models import Deployment, Reserve
from trod.web.access import person
from trod.web.forms.common import units_for

HERE: dict[str, Any] = {"here": "cameras"}  # the page name that stands marked in the masthead


def the_reserve() -> Reserve | None:
    """The reserve of this home."""
    return Reserve.objects.order_by("id").first()


def who(request: HttpRequest) -> dict[str, Any]:
    """What every record form is told of whoever types."""
    reserve = the_reserve()
    return {"reserve": reserve, "units": units_for(request, reserve), "person": person(request)}


def can_undo(
    request: HttpRequest,
    what: str,
    back: str,
    *,
    made: Iterable[models.Model] = (),
    before: Sequence[models.Model] = (),
) -> None:
    """Hold an undo for this session: `made` is deleted, `before` saved as it was. See `forms_common.put_back`.

    before : rows as they stood, read before they were changed.
    """
    request.session["undo"] = {
        "what": what,
        "made": [[f"trod.{type(row).__name__}", row.pk] for row in made],
        "rows": serializers.serialize("json", before) if before else "",
        "next": back,
    }


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
