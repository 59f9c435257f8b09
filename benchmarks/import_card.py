"""An import against `cp -r` and `sha256sum`, side by side on one disk.

    python benchmarks/import_card.py [--files 1000] [--size-mb 4] [--repeats 3] [--dir DIR] [--json]

Makes a card of files that begin and end as a JPEG does and are random in between (no disk can pack them).
Then, a few times in turn, with the system's caches dropped before each where that is allowed (root on Linux)
and otherwise warmed by reading the whole card:

    plain       cp -r CARD COPY, then sha256sum of every file of the copy, as a careful person does
    import      an import with the reading back switched off
    read back   an import as it is by default

The hand's way does not wait until the copy is on the disk; an import does, file by file. `plain+sync` is the
hand's way with a final `sync`, which comes nearer to what an import promises. Needs room for three times the
card and takes it away again.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ONE_IMPORT = """
import json, resource, sys, time
from datetime import UTC, datetime
from pathlib import Path
from trod.archive.card import scan
from trod.archive.card_import import Placement, import_card
card, root, read_back = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3] == "read back"
began = time.perf_counter()
listing = scan(card)
looked = time.perf_counter()
result = import_card(
    listing, root, place=Placement(), name="trial", about={}, already_have=lambda sha256: None,
    now=datetime(2026, 1, 1, tzinfo=UTC), read_back=read_back,
)
ended = time.perf_counter()
assert result.safe_to_format and result.new == len(listing.taken)
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
print(json.dumps({"scan_s": looked - began, "total_s": ended - began, "peak_rss_bytes": peak}))
"""


def make_card(card: Path, files: int, size_bytes: int) -> None:
    """Files that differ from each other in every part."""
    chance = random.Random(1)
    noise = chance.randbytes(2 * size_bytes)
    for number in range(files):
        folder = card / "DCIM" / f"{100 + number // 999}TRIAL"
        folder.mkdir(parents=True, exist_ok=True)
        at = chance.randrange(size_bytes)
        body = number.to_bytes(8, "big") + noise[at : at + size_bytes - 14]
        (folder / f"BNCH{number % 999 + 1:04}.JPG").write_bytes(b"\xff\xd8\xff\xe1" + body + b"\xff\xd9")
    os.sync()


def same_start(card: Path) -> str:
    """Bring the caches into the same state before each run, and tell which."""
    os.sync()
    try:
        Path("/proc/sys/vm/drop_caches").write_text("3")
        return "caches dropped"
    except OSError:
        for path in card.rglob("*.JPG"):
            path.read_bytes()
        return "card read into the caches"


def by_hand(card: Path, copy: Path) -> dict[str, float]:
    began = time.perf_counter()
    subprocess.run(["cp", "-r", card, copy], check=True)
    copied = time.perf_counter()
    find = ["find", str(copy), "-type", "f", "-print0"]
    names = subprocess.run(find, check=True, capture_output=True).stdout
    subprocess.run(["xargs", "-0", "sha256sum"], input=names, check=True, stdout=subprocess.DEVNULL)
    ended = time.perf_counter()
    os.sync()
    synced = time.perf_counter()
    return {"copy_s": copied - began, "total_s": ended - began, "with_sync_s": synced - began}


def by_trod(card: Path, root: Path, how: str) -> dict[str, float]:
    command = [sys.executable, "-c", ONE_IMPORT, str(card), str(root), how]
    source = str(Path(__file__).resolve().parents[1] / "src")
    path = os.pathsep.join([source, *filter(None, [os.environ.get("PYTHONPATH")])])
    environ = {**os.environ, "PYTHONPATH": path}
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, env=environ)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=1000)
    parser.add_argument("--size-mb", type=float, default=4.0)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--dir", default=None, help="a folder on the disk to measure")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    if shutil.which("cp") is None or shutil.which("sha256sum") is None:
        raise SystemExit("cp and sha256sum are needed to compare with; both come with GNU coreutils.")
    size_bytes = int(options.size_mb * 1e6)
    runs: dict[str, list[dict[str, float]]] = {"plain": [], "card_import": [], "read back": []}
    with tempfile.TemporaryDirectory(prefix="trod-benchmark-", dir=options.dir) as folder:
        card, out = Path(folder, "card"), Path(folder, "out")
        room, needed = shutil.disk_usage(folder).free, 2.5 * options.files * size_bytes
        if room < needed:
            raise SystemExit(f"{folder} has {room / 1e9:.1f} GB free; {needed / 1e9:.1f} are needed.")
        make_card(card, options.files, size_bytes)
        for _ in range(options.repeats):
            for how in runs:
                state = same_start(card)
                runs[how].append(by_hand(card, out) if how == "plain" else by_trod(card, out, how))
                shutil.rmtree(out)
    middle = {
        how: {name: statistics.median(run[name] for run in found) for name in found[0]} for how, found in runs.items()
    }
    plain = middle["plain"]
    report = {
        "files": options.files,
        "bytes": options.files * size_bytes,
        "state": state,
        "repeats": options.repeats,
        "median": middle,
        "runs": runs,
        "ratio_read_back_off": plain["total_s"] / middle["card_import"]["total_s"],
        "ratio_read_back_on": plain["total_s"] / middle["read back"]["total_s"],
        "ratio_read_back_off_to_sync": plain["with_sync_s"] / middle["card_import"]["total_s"],
        "ratio_read_back_on_to_sync": plain["with_sync_s"] / middle["read back"]["total_s"],
        "peak_rss_mb": max(run["peak_rss_bytes"] for run in runs["card_import"] + runs["read back"]) / 1e6,
    }
    if options.json:
        print(json.dumps(report, indent=1))
        return
    print(f"{options.files} files of {size_bytes} bytes, {state}, medians of {options.repeats} runs in turn")
    print(f"  cp -r, then sha256sum   {plain['total_s']:7.2f} s   (cp alone {plain['copy_s']:.2f} s)")
    print(f"  the same, then sync     {plain['with_sync_s']:7.2f} s")
    for how, key in (("card_import", "off"), ("read back", "on")):
        took = middle[how]
        print(
            f"  import, read back {key:<4}  {took['total_s']:7.2f} s   (the look {took['scan_s']:.2f} s)   "
            f"{plain['total_s'] / took['total_s']:.2f} x cp and sha256sum, "
            f"{plain['with_sync_s'] / took['total_s']:.2f} x with sync"
        )
    for how, found in runs.items():
        print(f"  each run, {how:<10}", *(f"{run['total_s']:.2f}" for run in found))
    print(f"  largest memory of an import {report['peak_rss_mb']:.0f} MB")


if __name__ == "__main__":
    main()
