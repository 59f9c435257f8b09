"""A small reserve with a start and two cameras that stand."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest


@pytest.fixture
def base(cast: Any) -> Any:
    """The cast with a start, and Blue standing at the Ford; both cards known. Times are near now."""
    from django.utils import timezone

    from trod.catalogue import models as m

    now = timezone.now()
    cast.now = now
    cast.reserve.base_latitude, cast.reserve.base_longitude = 47.295, 13.895
    cast.reserve.save()
    cast.deployment.start = now - timedelta(days=120)
    cast.deployment.batteries = "8 × LR6"
    cast.deployment.save()
    cast.second_card = m.Card.objects.create(label="C-2", size_gb=32)
    cast.second = m.Deployment.objects.create(
        slug="ford-1", camera=cast.blue, site=cast.ford, start=now - timedelta(days=20), utc_offset_min=60, height_m=3.0
    )
    return cast


@pytest.fixture
def wish(base: Any) -> Any:
    """wish(**changes) for tomorrow."""
    from trod import clock
    from trod.catalogue.rounds.wishes import Wish

    today: date = clock.local(base.now, base.reserve.zone).date()

    def make(**changes: Any) -> Any:
        return Wish(**{"name": "Both", "first": today + timedelta(days=1), "people": "Ada, Ben", **changes})

    return make


@pytest.fixture
def kept(base: Any, wish: Any) -> Any:
    """A kept round to both sites."""
    from trod.catalogue.rounds import rounds

    w = wish(which="all")
    return rounds.keep(base.reserve, w, rounds.plan(base.reserve, w, base.now), by="Ada", now=base.now)
