"""How fast pictures are looked at, and how good the rule about silences is.

Run:  PYTHONPATH=src python benchmarks/pictures.py [--silences] [--file A.JPG]

Everything is measured side by side, in turns, on the same file; medians are printed. The figures in
docs/measured.md come from here.
"""

from __future__ import annotations

import argparse
import functools
import io
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import piexif
from numpy.typing import NDArray
from PIL import Image

from trod import engine, sky
from trod.findings import watching
from trod.pictures import exif, picture, sequences

DAY_S = 86_400.0


def make_picture(path: Path, *, width: int = 4000, height: int = 3000, quality: int = 93) -> None:
    """A made-up 12-megapixel picture with texture at all sizes, noise and Exif; about 4 MB."""
    rng = np.random.default_rng(1)
    field = np.full((height, width, 3), 110, dtype=np.float32)
    for size in (8, 40, 160, 400):
        coarse = rng.normal(0, 1, (height // size + 2, width // size + 2, 3)).astype(np.float32)
        for channel in range(3):
            plane = Image.fromarray(coarse[..., channel]).resize((width, height), Image.Resampling.BICUBIC)
            field[..., channel] += np.asarray(plane) * (6 + 2 * size**0.5)
    field += rng.normal(0, 5, field.shape).astype(np.float32)
    header = piexif.dump(
        {
            "0th": {piexif.ImageIFD.Make: b"Heronsgate", piexif.ImageIFD.Model: b"HG-4"},
            "Exif": {
                piexif.ExifIFD.DateTimeOriginal: b"2024:05:17 14:30:00",
                piexif.ExifIFD.ExposureTime: (1, 125),
                piexif.ExifIFD.ISOSpeedRatings: 400,
                piexif.ExifIFD.BodySerialNumber: b"0042",
            },
        }
    )
    Image.fromarray(np.clip(field, 0, 255).astype(np.uint8)).save(path, quality=quality, exif=header)


def in_turns(*works: Callable[[], object], rounds: int = 40) -> list[float]:
    """The median processor time of each, run one after the other in every round. [ms]

    Processor time, because other work on the machine then matters less.
    """
    taken: list[list[float]] = [[] for _ in works]
    for _ in range(rounds):
        for each, work in zip(taken, works, strict=True):
            begin = time.process_time()
            work()
            each.append((time.process_time() - begin) * 1e3)
    return [statistics.median(each) for each in taken]


def bare_decode(path: Path) -> None:
    """What there is no way around: open, let the decoder scale to the thumbnail's scale, decode."""
    with Image.open(path) as image:
        image.draft("RGB", (picture.THUMB_WIDTH, 1))
        image.load()


def one_look(path: Path, folder: Path) -> bool:
    return picture.look(path, thumb_to=folder / "thumbs" / path.name).readable


def encoded(image: Image.Image, kind: str, options: dict[str, int]) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **options)
    return buffer.getvalue()


def speed(path: Path, folder: Path) -> None:
    size = Image.open(path).size
    print(f"picture: {size[0]} × {size[1]}, {path.stat().st_size / 1e6:.2f} MB\n")
    bare, look = in_turns(lambda: bare_decode(path), lambda: picture.look(path, thumb_to=folder / "t.jpg"), rounds=60)
    (facts,) = in_turns(lambda: exif.read_facts(path), rounds=200)
    (view,) = in_turns(lambda: picture.make_view(path, folder / "v.jpg"), rounds=20)
    print(f"bare scaled decode                        {bare:8.2f} ms")
    print(f"facts + light + thumbnail                 {look:8.2f} ms   {look / bare:.2f} of the bare decode")
    print(f"facts alone, header only                  {facts:8.3f} ms")
    print(f"viewing size                              {view:8.2f} ms\n")

    with Image.open(path) as image:
        image.draft("RGB", (picture.VIEW_WIDTH, 1))
        whole = image.convert("RGB")
    for width in (picture.THUMB_WIDTH, picture.VIEW_WIDTH):
        small = whole.resize((width, width * 3 // 4), Image.Resampling.BILINEAR)
        for name, kind, options in (
            ("JPEG 80", "JPEG", {"quality": 80}),
            ("WebP 75", "WEBP", {"quality": 75}),
            ("WebP 75, quickest", "WEBP", {"quality": 75, "method": 0}),
        ):
            size_bytes = len(encoded(small, kind, options))
            (taken,) = in_turns(functools.partial(encoded, small, kind, options), rounds=12)
            print(f"write {width:4} px, {name:18} {taken:15.2f} ms   {size_bytes / 1000:6.1f} kB")
    print()

    files = []
    for number in range(96):
        copy = folder / f"c{number}.jpg"
        copy.hardlink_to(path)
        files.append(copy)
    for workers in (1, 2):
        begin = time.perf_counter()
        done = sum(o.ok for o in engine.run(files, functools.partial(one_look, folder=folder), workers=workers))
        took = time.perf_counter() - begin
        print(f"{done} pictures, processes: {workers}    {done / took:8.1f} pictures a second by the clock")
    print()


def bulk() -> None:
    rng = np.random.default_rng(1)
    when = rng.uniform(1.6e9, 1.7e9, 1_000_000)
    ordered = np.sort(when).astype(np.int64)
    n = 200_000
    start = rng.uniform(0, 3e7, n)
    sun, group, merge = in_turns(
        lambda: sky.sun_position(when, latitude_deg=48, longitude_deg=14),
        lambda: sequences.group(ordered),
        lambda: sequences.independent(
            start,
            start + 60,
            species=rng.integers(0, 12, n),
            site=rng.integers(0, 40, n),
            count=rng.integers(1, 5, n),
        ),
        rounds=5,
    )
    print(f"sun's height and bearing, 1,000,000 instants  {sun:8.0f} ms")
    print(f"sequences of 1,000,000 pictures                  {group:8.0f} ms")
    print(f"detections of 200,000 observations                 {merge:8.0f} ms\n")


# --- silences ---------------------------------------------------------------------------------


def rhythm(rng: np.random.Generator, kind: str, days: int, per_day: float, hole_days: float) -> NDArray[np.float64]:
    """Picture times of a made-up camera [s]; in `hole_days` of it the camera was dead."""
    t = np.arange(days)
    if kind == "even":
        rate = np.full(days, per_day)
    elif kind == "uneven days":
        rate = rng.gamma(0.5, per_day / 0.5, days)
    elif kind == "busy and quiet weeks":
        level = np.zeros(days)
        level[0] = rng.normal()
        for i in range(1, days):
            level[i] = 0.8 * level[i - 1] + 0.6 * rng.normal()
        rate = per_day * np.exp(level - 0.5)
    else:  # a season that sinks to a twentieth of its height
        rate = per_day * (1 + 0.9 * np.sin(2 * np.pi * t / days + rng.uniform(0, 2 * np.pi)))
    number = rng.poisson(rate)
    hours = rng.normal(0, 2.5, number.sum()) + rng.choice([6.0, 20.0], number.sum())
    times = np.sort((np.repeat(t, number) + hours / 24) * DAY_S)
    times = times[(times > 0) & (times < days * DAY_S)]
    if hole_days:
        begin = rng.uniform(0.2, 0.7) * days * DAY_S
        times = times[(times < begin) | (times > begin + hole_days * DAY_S)]
    return times


def silences(runs: int = 300) -> None:
    rng = np.random.default_rng(5)
    print(f"share of {runs} deployments with a doubted silence: sound / dead 7 days / dead 20 days")
    print(f"{'rhythm':24}{'days':>6}{'a day':>7}{'sound':>9}{'7 days':>9}{'20 days':>9}")
    for kind in ("even", "uneven days", "busy and quiet weeks", "a season"):
        for days in (30, 90):
            for per_day in (0.5, 2.0, 6.0):
                row = ""
                for hole in (0, 7, 20):
                    if hole * 3 > days:
                        row += f"{'':>9}"
                        continue
                    doubted = 0
                    for _ in range(runs):
                        shots = rhythm(rng, kind, days, per_day, hole)
                        found = watching.work_out(0, days * DAY_S, pictures_s=shots)
                        doubted += any(one.chance is not None for one in found.open)
                    row += f"{100 * doubted / runs:8.0f} %"[-9:]
                print(f"{kind:24}{days:6}{per_day:7.1f}{row}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0] if __doc__ else "")
    parser.add_argument("--file", type=Path, help="measure with this picture instead of a made-up one")
    parser.add_argument("--silences", action="store_true", help="also the rule about silences (two minutes)")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = given.file
        if path is None:
            path = folder / "made.jpg"
            make_picture(path)
        speed(path, folder)
    bulk()
    if given.silences:
        silences()


if __name__ == "__main__":
    main()
