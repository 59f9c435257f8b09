"""A contact sheet of the demo's pictures, for the docs and for looking at what the renderer does.

python -m trod_demo.sheet OUT.jpg
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from trod_demo.animals import Actor
from trod_demo.daylight import moon_age
from trod_demo.reserve import CAMERAS_BY_SERIAL, RESERVE, SITES_BY_SLUG, sun_over, year
from trod_demo.scene import Lens, Shot
from trod_demo.shots import stage_for
from trod_demo.strip import Caption
from trod_demo.weather import Weather, leaves

SIZE_PX = (640, 480)
CELL_PX = (320, 240)
COLUMNS = 4


@dataclass(frozen=True)
class Example:
    """One picture of the sheet. at : month, day, hour, minute of the reserve's standard time."""

    title: str
    site: str
    at: tuple[int, int, int, int]
    actors: tuple[Actor, ...] = ()
    air: dict[str, float] = field(default_factory=dict)
    lens: Lens = field(default=Lens())
    askew: bool = False


EXAMPLES: tuple[Example, ...] = (
    Example(
        "red deer, day",
        "alder-track",
        (7, 10, 10, 0),
        (
            Actor("red_deer", -0.6, 6.6, 30, "walk", 0.2, "female", month=7, scale=0.88),
            Actor("red_deer", 1.2, 8.2, 35, "alert", 0.5, "unknown", "juvenile", 0.55, 7),
        ),
        {"cloud": 0.2},
    ),
    Example(
        "wild boar, day",
        "larkfield-edge",
        (5, 12, 18, 0),
        (
            Actor("wild_boar", -0.6, 6.0, 10, "walk", 0.2, "female", month=5),
            Actor("wild_boar", 1.0, 6.2, 10, "trot", 0.4, "unknown", "juvenile", 0.36, 5),
            Actor("wild_boar", 1.6, 6.6, 10, "trot", 0.8, "unknown", "juvenile", 0.36, 5),
        ),
        {"cloud": 0.7},
    ),
    Example(
        "red fox",
        "orchard-wall",
        (10, 3, 9, 0),
        (Actor("red_fox", 0.2, 4.2, 170, "walk", 0.4, month=10),),
        {"cloud": 0.3},
    ),
    Example(
        "brown hare and roe buck",
        "larkfield-edge",
        (5, 10, 17, 0),
        (
            Actor("brown_hare", 0.4, 4.2, 10, "alert", 0.4, month=5),
            Actor("roe_deer", -1.6, 10.0, 10, "feed", 0.4, "male", month=5),
        ),
        {"cloud": 0.5},
    ),
    Example(
        "red stag, infrared",
        "alder-track",
        (9, 20, 22, 0),
        (Actor("red_deer", -0.1, 7.0, 30, "walk", 0.2, "male", month=9),),
    ),
    Example(
        "boar at the ford, infrared",
        "stone-ford",
        (9, 20, 22, 0),
        (
            Actor("wild_boar", 0.0, 6.0, 10, "walk", 0.2, "female"),
            Actor("wild_boar", -1.7, 6.5, 250, "alert", 0.1, "unknown", scale=0.8),
        ),
    ),
    Example(
        "badger, infrared",
        "sett-bank",
        (6, 20, 23, 30),
        (Actor("badger", 0.0, 3.6, 20, "walk", 0.3, month=6),),
    ),
    Example(
        "lynx, infrared",
        "lynx-gallery",
        (3, 2, 23, 0),
        (Actor("lynx", 0.0, 4.5, 330, "walk", 0.2, month=3),),
    ),
    Example(
        "red deer in snow",
        "hay-stand",
        (1, 20, 11, 0),
        (
            Actor("red_deer", -0.2, 9.5, 10, "feed", 0.2, "female", month=1),
            Actor("red_deer", -2.0, 10.0, 200, "alert", 0.2, "male", month=1),
            Actor("red_deer", 2.4, 11.5, 100, "alert", 0.2, "female", month=1, scale=0.88),
        ),
        {"snow_cm": 20, "cloud": 0.5},
    ),
    Example(
        "falling snow, infrared",
        "grey-lick",
        (1, 12, 18, 0),
        (Actor("roe_deer", 0.8, 5.0, 180, "walk", 0.3, "male", month=1),),
        {"snow_cm": 12, "snowfall": 0.6, "cloud": 1},
    ),
    Example(
        "rain",
        "larkfield-edge",
        (11, 3, 13, 0),
        (Actor("roe_deer", 0.0, 6.0, 10, "walk", 0.2, "female", month=11),),
        {"rain": 0.9, "cloud": 1},
    ),
    Example(
        "fog and dew",
        "stone-ford",
        (8, 3, 6, 20),
        (Actor("roe_deer", 0.0, 6.0, 10, "walk", 0.2, "male", month=8),),
        {"fog": 0.6, "cloud": 0.3},
        Lens(dew=0.6),
    ),
    Example("a blank of a windy day", "alder-track", (10, 15, 12, 0), (), {"wind_mps": 13, "cloud": 0.6}),
    Example(
        "walkers",
        "closed-lane",
        (9, 20, 12, 0),
        (
            Actor("person", 0.4, 6.0, 240, "walk", 0.2, variant=3),
            Actor("person", -0.5, 7.0, 240, "walk", 0.5, variant=4),
        ),
        {"cloud": 0.2},
    ),
    Example(
        "a vehicle",
        "closed-lane",
        (9, 21, 9, 30),
        (Actor("vehicle", 0.0, 11.0, 245),),
        {"cloud": 0.6},
    ),
    Example(
        "a knocked camera",
        "closed-lane",
        (10, 2, 15, 0),
        (Actor("red_fox", 0.0, 4.6, 20, "trot", 0.4, month=10),),
        {"cloud": 0.3},
        askew=True,
    ),
)


def picture_of(example: Example, *, size: tuple[int, int] = SIZE_PX) -> Image.Image:
    """One example, rendered through its site's real camera."""
    y = year()
    site = SITES_BY_SLUG[example.site]
    deployment = [d for d in y.deployments if d.site == example.site][-1]
    zone = timezone(timedelta(minutes=RESERVE.utc_offset_min))
    month, day, hour, minute = example.at
    at = datetime(y.now.year if month < 7 else y.now.year - 1, month, day, hour, minute, tzinfo=zone)
    leaf, autumn = leaves(at.date())
    weather = Weather(**{"leaf": leaf, "autumn": autumn, **example.air})
    caption = Caption(
        at.replace(tzinfo=None),
        weather.temperature_c if weather.snow_cm == 0 else -3,
        CAMERAS_BY_SERIAL[deployment.camera].name,
        moon_age(at),
    )
    shot = Shot(example.actors, weather, sun_over(site, at), caption, seed=7, lens=example.lens, gust_s=0.4)
    return stage_for(deployment, size, example.askew).shoot(shot)[0]


def contact_sheet() -> Image.Image:
    """All examples with their titles."""
    w, h = CELL_PX
    gap, line = 8, 20
    rows = -(-len(EXAMPLES) // COLUMNS)
    sheet = Image.new("RGB", (COLUMNS * (w + gap) + gap, rows * (h + line + gap) + gap), (246, 241, 228))
    draw = ImageDraw.Draw(sheet)
    font = ImageFont.load_default(14)
    for k, example in enumerate(EXAMPLES):
        x, y = gap + (k % COLUMNS) * (w + gap), gap + (k // COLUMNS) * (h + line + gap)
        sheet.paste(picture_of(example).resize(CELL_PX, Image.Resampling.LANCZOS), (x, y))
        draw.text((x + 2, y + h + 2), example.title, fill=(38, 35, 28), font=font)
    return sheet


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; returns its exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if len(given) != 1:
        print("Usage: python -m trod_demo.sheet OUT.jpg", file=sys.stderr)
        return 2
    out = Path(given[0])
    out.parent.mkdir(parents=True, exist_ok=True)
    contact_sheet().save(out, "JPEG", quality=68, optimize=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
