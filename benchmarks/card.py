"""How quickly pictures come into the catalogue: registering, facts, thumbnails, sequences; without the copying.

    python benchmarks/card.py [--files 200] [--bytes 4000000] [--size 4000x3000] [--workers N]

Beside it stands the bare cost of the same pictures: read the file and decode it scaled down to the size
of a thumbnail. Times are wall time; `cpu` is the processor time of this process and its helpers. Memory is
the greatest resident size.
"""

from __future__ import annotations

import argparse
import io
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path


def bare_decode(path: str) -> int:
    """What no reader of pictures can do without: read, and decode scaled down as far as JPEG allows."""
    from PIL import Image

    from trod.pictures.picture import THUMB_WIDTH

    image = Image.open(io.BytesIO(Path(path).read_bytes()))
    image.draft("RGB", (THUMB_WIDTH, THUMB_WIDTH * image.height // image.width))
    image.load()
    return image.width


def cpu_s() -> float:
    """Processor time of this process and of the helpers that have ended."""
    return sum(
        used.ru_utime + used.ru_stime
        for used in (resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN))
    )


class Watch:
    """Prints one line a step."""

    def __init__(self) -> None:
        self.wall, self.cpu = time.perf_counter(), cpu_s()

    def told(self, what: str, many: int) -> float:
        wall, cpu = time.perf_counter() - self.wall, cpu_s() - self.cpu
        print(f"{what:34s} {wall:8.2f} s {many / wall:9.1f} /s   {cpu / many * 1000:7.2f} ms cpu each")
        self.wall, self.cpu = time.perf_counter(), cpu_s()
        return cpu


def main() -> None:
    from trod import engine

    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--files", type=int, default=200)
    ask.add_argument("--bytes", type=int, default=4_000_000)
    ask.add_argument("--size", default="4000x3000")
    ask.add_argument("--workers", type=int, default=engine.usual_workers())
    ask.add_argument("--inside", help=argparse.SUPPRESS)
    said = ask.parse_args()
    width, height = map(int, said.size.split("x"))
    if said.inside:
        os.environ["TROD_HOME"] = f"{said.inside}/home"
        measure(Path(said.inside), said.files, said.bytes, (width, height), said.workers)
        return
    from trod_demo import cards

    with tempfile.TemporaryDirectory(prefix="trod-benchmark-") as folder:
        cards.noise_card(Path(folder) / "card", said.files, said.bytes, size=(width, height))
        # In a process of its own, whose memory the drawing of the card is no part of.
        subprocess.run([sys.executable, __file__, *sys.argv[1:], "--inside", folder], check=True)


def measure(folder: Path, files: int, bytes_each: int, size: tuple[int, int], workers: int) -> None:
    from trod import engine
    from trod.catalogue.start import ready

    (folder / "home").mkdir()
    ready()
    from trod.archive.card import scan
    from trod.catalogue.imports import bags, clocks, facts, import_card, propose, records
    from trod.catalogue.line import Silent
    from trod.catalogue.models import Picture

    card = folder / "card"
    listing = scan(card, inside=False)
    places = [str(listing.place_of(e)) for e in listing.taken]
    print(f"{files} files of {bytes_each / 1e6:.1f} MB, {size[0]} × {size[1]}, {workers} workers\n")
    for place in places:
        Path(place).read_bytes()  # warm, so that the disk is not what is measured
    now, clock = datetime.now(UTC), Watch()
    for place in places:
        bare_decode(place)
    bare = clock.told("bare scaled decode, 1 process", files)
    propose.propose(listing, now=now)
    clock.told("proposal", files)
    deployment, _ = records.make(serial="TRIAL-1", site_name="Trial", marks=propose.read_marks(listing), now=now)
    row = import_card.begin(import_card.Asked(card, deployment, read_back=False), now=now)
    clock = Watch()
    real = bags.register
    bags.register = lambda *words: 0  # apart from the copying
    import_card._copy(row, Silent(), now, listing, False)
    bags.register = real
    clock.told("copy, hash, flush (no read-back)", files)
    from trod.catalogue import home

    bags.register(bags.read_bag(home.archive_root(), row.folder), row, Silent())
    clock.told("registering", files)
    for many in dict.fromkeys((1, workers)):
        Picture.objects.update(looked=False)
        for thumb in home.thumbs_root().rglob("*.jpg"):
            thumb.unlink()
        clock = Watch()
        facts.read(Picture.objects.all(), Silent(), workers=many)
        read = clock.told(f"facts and thumbnails, {many} process{'es' if many > 1 else ''}", files)
        print(f"{'':34s} {read / bare:.2f} × the bare decode, by processor time")
    clock = Watch()
    clocks.follow(deployment, Silent())
    clock.told("times, triggers, sequences", files)
    helper = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * (1 if sys.platform == "darwin" else 1024) / 1e6
    print(f"\ngreatest memory: {own_memory_mb():.0f} MB here, {helper:.0f} MB in a helper; ", end="")
    print(f"{engine.usual_workers()} processors")


def own_memory_mb() -> float:
    """The greatest resident size of this process alone (Linux also counts its parent's into getrusage)."""
    try:
        line = next(x for x in Path("/proc/self/status").read_text().splitlines() if x.startswith("VmHWM"))
        return int(line.split()[1]) * 1024 / 1e6
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


if __name__ == "__main__":
    main()
