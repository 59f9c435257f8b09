"""Silences of cameras as pages show them: open ones with their buttons, lost ones, and what a person decided."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from trod import wording
from trod.catalogue.models import Deployment
from trod.catalogue.rows import rollups, watched
from trod.findings.watching import Stretch, Watching

LEAST_DAYS = 1.0  # shorter silences are not listed: the ordinary hours before a card is pulled


def silences(deployment: Deployment, found: Watching | None) -> dict[str, Any]:
    """What the page of a deployment shows of its silences: open, lost, and those that a person decided."""
    refuted = set() if found is None else set(found.refuted)
    said = list(deployment.silences.order_by("from_at", "at"))
    return {
        **open_ones(deployment, found),
        "lost": [] if found is None else [_told(one) for one in found.lost if one.days >= LEAST_DAYS],
        "said": [{"row": one, "refuted": str(one.uuid) in refuted} for one in said],
    }


def open_ones(deployment: Deployment, found: Watching | None) -> dict[str, Any]:
    """Those that wait for a decision."""
    every = [] if found is None else [_told(one) for one in found.open if one.days >= LEAST_DAYS]
    return {"deployment": deployment, "open": every}


def _told(one: Stretch) -> dict[str, Any]:
    return {
        "from_at": datetime.fromtimestamp(one.from_s, UTC),
        "to_at": datetime.fromtimestamp(one.to_s, UTC),
        "from_s": repr(one.from_s),
        "to_s": repr(one.to_s),
        "days": wording.number(one.days, 2),
        "reason": one.reason,
    }


def line_of(deployment: Deployment) -> Watching | None:
    """When a deployment's camera watched, as it is now."""
    zone = deployment.site.reserve.zone
    rests = watched.rests_on([deployment], zone)[deployment.pk]
    row = rollups.kept([deployment.pk], zone).get(deployment.pk)
    text = rollups.lines([deployment.pk]).get(deployment.pk, "") if row is not None else ""
    return rollups.line_of(deployment.pk, rests, row, text)[1]
