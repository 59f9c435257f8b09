"""A small invented ground with sequences to look through, with real JPEG files where they are asked for.

As a script it fills TROD_HOME:  TROD_HOME=/some/scratch python tests/support/sequenced.py --sequences 60 --files
"""

from __future__ import annotations

import hashlib
import io
import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

SPECIES = (
    ("Red deer", "Cervus elaphus", "d", "hoofed"),
    ("Roe deer", "Capreolus capreolus", "r", "hoofed"),
    ("Wild boar", "Sus scrofa", "b", "hoofed"),
    ("Red fox", "Vulpes vulpes", "f", "carnivore"),
    ("Badger", "Meles meles", "g", "carnivore"),
    ("Brown hare", "Lepus europaeus", "h", "hares and rodents"),
    ("Jay", "Garrulus glandarius", "j", "bird"),
)
START = datetime(2025, 11, 12, 5, 41, tzinfo=UTC)


@dataclass
class Ground:
    """The rows that were made."""

    reserve: Any
    sites: list[Any]
    deployments: list[Any]
    species: dict[str, Any]
    sequences: list[Any] = field(default_factory=list)


def ground(*, sites: int = 2) -> Ground:
    from trod.catalogue import models as m

    reserve = m.Reserve.objects.create(
        name="Eskerwold",
        slug="eskerwold",
        latitude=47.305,
        longitude=13.905,
        zone="Europe/Vienna",
        invented=True,
    )
    species = {
        name: m.Species.objects.create(
            name=name, scientific_name=latin, slug=name.lower().replace(" ", "-"), key=key, group=group
        )
        for name, latin, key, group in SPECIES
    }
    made = Ground(reserve, [], [], species)
    for number, name in enumerate(("Alder Ford", "Grey Lick", "High Saddle", "Sett Bank")[:sites], 1):
        slug = name.lower().replace(" ", "-")
        site = m.Site.objects.create(
            reserve=reserve, name=name, slug=slug, latitude=47.29 + number / 1000, longitude=13.9
        )
        camera = m.Camera.objects.create(serial=f"INV-{number:03d}", name=f"ESK {number:02d}")
        deployment = m.Deployment.objects.create(
            slug=f"{slug}-2025", camera=camera, site=site, start=START - timedelta(days=9), utc_offset_min=60
        )
        card_import = m.Import.objects.create(
            name=f"20251201-{number}", folder=f"{slug}/{deployment.slug}/20251201-{number}",
            deployment=deployment, state="whole", source="invented",
            started_at=START, finished_at=START, by="Ilka Marwood",
        )  # fmt: skip
        deployment.card_import = card_import
        made.sites.append(site)
        made.deployments.append(deployment)
    return made


def sequence(
    made: Ground,
    number: int,
    *,
    deployment: Any = None,
    frames: int = 3,
    at: datetime | None = None,
    infrared: bool | None = None,
    root: Path | None = None,
    size: tuple[int, int] = (640, 480),
    ending: str = "JPG",
) -> Any:
    """One sequence. root : the archive's root, when the pictures are to be real files."""
    from trod.catalogue import models as m

    deployment = deployment or made.deployments[number % len(made.deployments)]
    at = at or START + timedelta(minutes=47 * number)
    infrared = (at.hour < 5 or at.hour > 17) if infrared is None else infrared
    end = at + timedelta(seconds=4 * (frames - 1))
    pictures = []
    for k in range(frames):
        when = at + timedelta(seconds=4 * k)
        path = f"{deployment.card_import.folder}/data/DCIM/100INVEN/INVE{number:04d}{k:02d}.{ending}"
        data = b"" if root is None else drawing(number, k, infrared, size)
        sha = hashlib.sha256(data or f"{number}/{k}/{deployment.slug}".encode()).hexdigest()
        if root is not None:
            (root / path).parent.mkdir(parents=True, exist_ok=True)
            (root / path).write_bytes(data)
        pictures.append(
            m.Picture(
                sha256=sha, path=path, card_import=deployment.card_import, deployment=deployment, size_bytes=len(data)
                or 1000, file_order=number * 100 + k, taken_raw=when + timedelta(hours=1), taken_at=when,
                infrared=infrared, trigger="motion", width=size[0], height=size[1], looked=True,
            )
        )  # fmt: skip
    row = m.Sequence.objects.create(
        key=f"{deployment.slug[:35]}.{pictures[0].sha256}", deployment=deployment, start_at=at, end_at=end,
        frames=frames, infrared=infrared,
    )  # fmt: skip
    for picture in pictures:
        picture.sequence = row
    m.Picture.objects.bulk_create(pictures)
    made.sequences.append(row)
    return row


def drawing(number: int, k: int, infrared: bool, size: tuple[int, int]) -> bytes:
    """A JPEG of a wood with something in it: no likeness, but as much detail as a picture has."""
    import numpy as np
    from PIL import Image, ImageDraw, ImageFilter

    chance = np.random.default_rng(number)
    wide, high = size
    coarse = chance.integers(30, 120, (high // 16 + 1, wide // 16 + 1, 3), dtype=np.uint8)
    image = Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC)
    draw = ImageDraw.Draw(image)
    pick = random.Random(number)
    for _ in range(9):
        x, w = pick.randrange(wide), pick.randrange(wide // 60, wide // 22)
        draw.rectangle((x, 0, x + w, int(high * pick.uniform(0.6, 0.9))), fill=(46, 38, 28))
    x, y, r = wide * (0.25 + 0.12 * k), high * 0.62, high * 0.11
    draw.ellipse((x, y, x + 2.2 * r, y + r), fill=(150, 104, 62))
    draw.ellipse((x + 1.9 * r, y - 0.5 * r, x + 2.6 * r, y + 0.2 * r), fill=(150, 104, 62))
    for leg in (0.3, 0.7, 1.5, 1.9):
        draw.rectangle((x + leg * r, y + 0.8 * r, x + (leg + 0.12) * r, y + 1.9 * r), fill=(120, 80, 48))
    image = image.filter(ImageFilter.GaussianBlur(1))
    noise = chance.normal(0, 9, (high, wide, 1))
    pixels = np.clip(np.asarray(image, dtype=float) + noise, 0, 255).astype(np.uint8)
    if infrared:
        pixels = np.repeat((pixels.mean(axis=2, keepdims=True) * 0.62).astype(np.uint8), 3, axis=2)
    image = Image.fromarray(pixels)
    ImageDraw.Draw(image).text((8, high - 20), f"INVENTED {number:04d}/{k}", fill=(235, 235, 220))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=85)
    return out.getvalue()


def main() -> None:
    import argparse

    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--sequences", type=int, default=60)
    given.add_argument("--files", action="store_true")
    given.add_argument("--wide", type=int, default=1280)
    asked = given.parse_args()
    from trod.catalogue.start import ready

    ready()
    from django.db import transaction

    from trod.catalogue import home

    root = home.archive_root() if asked.files else None
    with transaction.atomic():
        made = ground()
        for number in range(asked.sequences):
            sequence(
                made,
                number,
                frames=(3, 1, 2, 5)[number % 4],
                root=root,
                size=(asked.wide, asked.wide * 3 // 4),
            )


if __name__ == "__main__":
    main()
