"""A small reserve with cameras and two deployments, and cards for them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pulled
import pytest

NOW = datetime(2026, 6, 30, 18, tzinfo=UTC)


@dataclass
class Small:
    """Two sites, two cameras, a deployment of each; clocks at UTC+1."""

    home: Path
    work: Path
    alder: Any
    lick: Any

    def card(self, name: str = "ESK-01-A", **more: Any) -> pulled.Pulled:
        return pulled.Pulled(self.work / name, **more)


@pytest.fixture
def small(trod_home: Path, tmp_path: Path, db: Any) -> Small:
    from trod.catalogue.models import Camera, CameraModel, Deployment, Reserve, Site, Species

    reserve = Reserve.objects.create(
        name="Eskerwold", slug="eskerwold", latitude=47.3, longitude=13.9, zone="Europe/Vienna", invented=True
    )
    kind = CameraModel.objects.create(maker="Tarnbeckle", name="Lanthorn 3", slug="tarnbeckle-lanthorn-3")
    Species.objects.create(name="Red deer", slug="red-deer", key="d")
    Species.objects.create(name="Red fox", slug="red-fox", key="f")
    made = []
    for number, name in enumerate(("Alder Track", "Grey Lick"), 1):
        site = Site.objects.create(
            reserve=reserve, name=name, slug=name.lower().replace(" ", "-"), latitude=47.3, longitude=13.9
        )
        camera = Camera.objects.create(serial=f"INV-{number:03d}", name=f"ESK 0{number}", model=kind)
        made.append(
            Deployment.objects.create(
                slug=f"{site.slug}-2026",
                site=site,
                camera=camera,
                utc_offset_min=60,
                start=datetime(2026, 4, 30, 9, tzinfo=UTC),
            )
        )
    return Small(trod_home, tmp_path, *made)


@pytest.fixture
def take(small: Small) -> Callable[..., Any]:
    """Take a folder in, here and now; gives the import's row."""
    from trod.catalogue.imports import import_card
    from trod.catalogue.line import Silent

    def do(folder: Path, deployment: Any = None, *, line: Any = None, now: datetime = NOW, **more: Any) -> Any:
        row = import_card.begin(import_card.Asked(folder, deployment, by="Ilka Marwood", **more), now=now)
        import_card.import_card(row, line=line or Silent(), now=now, workers=1)
        row.refresh_from_db()
        return row

    return do
