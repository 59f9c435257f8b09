"""The review's speed: from the key to the next picture, and what the pages cost the server.

    python benchmarks/look.py                    both, in scratch folders that are thrown away
    python benchmarks/look.py --only keys        300 sequences with real pictures, in Chromium
    python benchmarks/look.py --only server      30,000 unseen sequences, in the catalogue alone

Key to picture: from the keydown's own time stamp until the second animation frame after the next sequence's
picture, decoded, was put in place. Beside it what the browser itself says: Sequence Timing (W3C), from the key
to the next paint, in steps of 8 ms; below 16 ms it says nothing, which counts as 16 here.
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
from collections import abc
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
KEYS = ["d", " ", "r", "f", "b", " ", "g", "h", "j", '"', "u"]


def quantile(values: abc.Sequence[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, round(share * (len(values) - 1)))]


def surroundings(home: Path) -> dict[str, str]:
    env = {name: value for name, value in os.environ.items() if not name.startswith("TROD_")}
    places = [str(ROOT / "src"), str(ROOT / "tests" / "support")]
    return {**env, "TROD_HOME": str(home), "PYTHONPATH": os.pathsep.join(places), "PYTHONUNBUFFERED": "1"}


def keys(home: Path, *, sequences: int, wide: int, pause_ms: float) -> dict[str, Any]:
    """Press a key, wait for the picture, wait as a quick person does, press the next."""
    from playwright.sync_api import sync_playwright

    env = surroundings(home)
    fill = [sys.executable, str(ROOT / "tests" / "support" / "sequenced.py")]
    subprocess.run([*fill, "--sequences", str(sequences + 15), "--files", "--wide", str(wide)], env=env, check=True)
    command = [sys.executable, "-m", "trod", "serve", "--port", "0", "--no-browser", "--no-worker", "--json"]
    server = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    url = json.loads(server.stdout.readline())["address"]
    took: list[float] = []
    chance = random.Random(1)
    try:
        with sync_playwright() as play:
            chromium = os.environ.get("TROD_TEST_CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
            browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.add_init_script(
                "window.took = []; window.timed = [];"
                "document.addEventListener('trod:seen', e => window.took.push(e.detail.ms));"
                "new PerformanceObserver(list => list.getEntries().forEach(e =>"
                " e.name === 'keydown' && window.timed.push(e.duration)))"
                ".observe({type: 'sequence', durationThreshold: 16})"
            )
            page.goto(f"{url}review/1", wait_until="networkidle")
            page.evaluate("window.took = []; window.timed = []")
            begun = time.monotonic()
            for number in range(sequences):
                page.keyboard.press(chance.choice(KEYS))
                while page.evaluate("window.took.length") <= number:
                    time.sleep(0.002)
                time.sleep(pause_ms / 1000)
            seconds = time.monotonic() - begun
            took, timed = page.evaluate("[window.took, window.timed]")
            timed = [*timed, *[16.0] * (sequences - len(timed))]
            while page.evaluate("JSON.parse(sessionStorage.getItem('trod-review-outbox')).length"):
                time.sleep(0.05)
            browser.close()
    finally:
        server.terminate()
        server.wait(timeout=20)
    kept = sum(len(file.read_text().splitlines()) for file in (home / "archive").rglob("identifications.jsonl"))
    assert kept == sequences, f"{sequences} keys pressed, {kept} words in the archive"
    return {
        "sequences": sequences,
        "picture_px": [wide, wide * 3 // 4],
        "pause_ms": pause_ms,
        "median_ms": round(statistics.median(took), 1),
        "p95_ms": round(quantile(took, 0.95), 1),
        "most_ms": round(max(took), 1),
        "browser_says_median_ms": statistics.median(timed),
        "browser_says_p95_ms": quantile(timed, 0.95),
        "load_average": os.getloadavg()[0] if hasattr(os, "getloadavg") else None,
        "seconds": round(seconds, 1),
        "sequences_an_hour": round(sequences / seconds * 3600),
        "words_in_the_archive": kept,
    }


_SERVER = """
import json, sys, time
from datetime import timedelta
from trod.catalogue.start import ready
ready()
from django.conf import settings
from django.db import connection, transaction
from django.test import Client
import sequenced
from trod.catalogue import models as m

sequences, frames = int(sys.argv[1]), int(sys.argv[2])
with transaction.atomic():
    made = sequenced.ground(sites=4)
    rows = []
    for n in range(sequences):
        at = sequenced.START + timedelta(minutes=7 * n)
        end = at + timedelta(seconds=4 * (frames - 1))
        rows.append(m.Sequence(key=f"e.{n:064x}", deployment=made.deployments[n % 4], start_at=at, end_at=end,
                            frames=frames, infrared=n % 3 == 0))
    rows = m.Sequence.objects.bulk_create(rows, batch_size=1000)
    m.Picture.objects.bulk_create(
        [m.Picture(sha256=f"{n * frames + k:064x}", path=f"p/{n}/{k}.JPG", card_import=row.deployment.card_import,
                   deployment=row.deployment, sequence=row, size_bytes=1, taken_raw=row.start_at,
                   taken_at=row.start_at + timedelta(seconds=4 * k), looked=True, width=1920, height=1440)
         for n, row in enumerate(rows) for k in range(frames)], batch_size=1000)
connection.cursor().execute("ANALYZE")
client = Client(SERVER_NAME="localhost")
ids = [r.pk for r in rows]

def timed(times, ask):
    out = []
    for i in range(times):
        begun, worked = time.perf_counter(), time.process_time()
        answer = ask(i)
        out.append(((time.perf_counter() - begun) * 1000, (time.process_time() - worked) * 1000))
        assert answer.status_code == 200, (answer.status_code, answer.content[:200])
    return out

at = lambda i: ids[(i * 7919) % (len(ids) - 50)]
timed(3, lambda i: client.get(f"/review/{at(i)}"))
out = {
    "start page": timed(60, lambda i: client.get("/review/")),
    "start page, one site": timed(60, lambda i: client.get("/review/?site=alder-ford&sort=place")),
    "a sequence's page": timed(60, lambda i: client.get(f"/review/{at(i)}")),
    "the next 12 sequences": timed(200, lambda i: client.get(f"/review/more?after={at(i)}")),
    "the next 12, camera after camera": timed(200, lambda i: client.get(
        f"/review/more?sort=place&after={at(i)}")),
    "the next 12 at one site, by night": timed(200, lambda i: client.get(
        f"/review/more?site=alder-ford&light=night&after={at(i)}")),
    "say one word": timed(200, lambda i: client.post("/review/act", content_type="application/json",
        data=json.dumps(
        {"act": "say", "sequence": rows[i * 3].key, "lines": [{"what": "animal", "species": "jay"}]}))),
    "the next 12 for a second look": timed(100, lambda i: client.get(
        f"/review/more?which=second&after={at(i)}")),
}
print(json.dumps(out))
"""


def server(home: Path, *, sequences: int, frames: int) -> dict[str, Any]:
    """What pages and acts cost the server, without the network between."""
    script = home.parent / "server.py"
    script.write_text(_SERVER)
    command = [sys.executable, str(script), str(sequences), str(frames)]
    run = subprocess.run(command, env=surroundings(home), check=True, stdout=subprocess.PIPE, text=True)
    times = json.loads(run.stdout.splitlines()[-1])
    found: dict[str, Any] = {"load_average": os.getloadavg()[0] if hasattr(os, "getloadavg") else None}
    for name, pairs in times.items():
        wall, worked = zip(*pairs, strict=True)
        found[name] = {
            "median_ms": round(statistics.median(wall), 1),
            "p95_ms": round(quantile(wall, 0.95), 1),
            "processor_p95_ms": round(quantile(worked, 0.95), 1),
            "times": len(pairs),
        }
    return found


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--only", choices=["keys", "server"])
    given.add_argument("--sequences", type=int, default=300)
    given.add_argument("--wide", type=int, default=2560)
    given.add_argument("--pause-ms", type=float, default=400)
    given.add_argument("--unseen", type=int, default=30_000)
    asked = given.parse_args()
    found: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        if asked.only != "server":
            found["keys"] = keys(Path(folder) / "a", sequences=asked.sequences, wide=asked.wide, pause_ms=asked.pause_ms)
        if asked.only != "keys":
            found["server"] = server(Path(folder) / "b", sequences=asked.unseen, frames=7)
    print(json.dumps(found, indent=1, ensure_ascii=False))


if __name__ == "__main__":
    main()
