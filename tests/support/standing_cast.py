"""A standing cast for pages and catalogue: one small reserve, its sites, cameras, cards, a deployment that stands."""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

FILL = Path(__file__).resolve().parents[2] / "benchmarks" / "fill.py"


@dataclass
class Cast:
    """Rows of an invented reserve, in Europe/Vienna. now : the instant the tests take for now."""

    reserve: Any
    meadow: Any
    ford: Any
    red: Any
    blue: Any
    card: Any
    deployment: Any
    now: datetime


@pytest.fixture
def cast(db: None, trod_home: Path) -> Cast:
    """Meadow with the camera Red, standing since 120 days; Ford without one; Blue at home."""
    from trod.catalogue import models as m

    now = datetime(2026, 7, 1, 10, 0, tzinfo=UTC)
    reserve = m.Reserve.objects.create(name="Hollin", slug="hollin", latitude=47.3, longitude=13.9, zone="Europe/Vienna")
    meadow = m.Site.objects.create(
        reserve=reserve, name="Meadow", slug="meadow", latitude=47.30, longitude=13.90, feature="meadow"
    )
    ford = m.Site.objects.create(
        reserve=reserve, name="Ford", slug="ford", latitude=47.31, longitude=13.91, feature="ford"
    )
    red = m.Camera.objects.create(serial="R-1", name="Red", state="out")
    blue = m.Camera.objects.create(serial="B-2", name="Blue")
    card = m.Card.objects.create(label="C-1", size_gb=32, state="out")
    deployment = m.Deployment.objects.create(
        slug="meadow-2026-03-03",
        camera=red,
        site=meadow,
        start=now - timedelta(days=120),
        utc_offset_min=60,
        height_m=1.0,
        card=card,
    )
    return Cast(reserve, meadow, ford, red, blue, card, deployment, now)


@pytest.fixture(scope="session")
def filler() -> ModuleType:
    """benchmarks/fill.py, which fills a catalogue with the invented reserve and any number of pictures."""
    spec = importlib.util.spec_from_file_location("fill", FILL)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def bring_sequences(cast: Cast):
    """Give a deployment sequences: bring_sequences(times, deployment=…). A whole import comes with them."""
    from trod.catalogue import models as m

    made = {"n": 0}

    def bring(times: list[datetime], *, deployment: Any = None, home: datetime | None = None) -> None:
        d = deployment or cast.deployment
        made["n"] += 1
        m.Import.objects.create(
            name=f"in-{made['n']}",
            folder=f"x/{d.slug}/in-{made['n']}",
            deployment=d,
            state="whole",
            source="test",
            started_at=home or cast.now,
            finished_at=home or cast.now,
            files=len(times),
            bytes=2_000_000 * len(times),
        )
        m.Sequence.objects.bulk_create(
            m.Sequence(key=f"{d.slug}-{made['n']}-{k}", deployment=d, start_at=t, end_at=t, frames=3)
            for k, t in enumerate(times)
        )

    return bring
