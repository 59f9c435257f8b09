"""How soon the placement planner answers, beside a bare page of the same server, and how often it asks the database.

    python benchmarks/planner.py [--rounds 60]

Every answer is to a question that was not asked before (a lens height of its own), so nothing comes out of the
placement planner's memory. Times are those of the whole answer inside the server by Django's test client, processor
time and clock time; the bare page is one that looks at the database and draws nothing. On a busy machine look at the
processor's own time and at the ratio.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

GOAL_MS = 100.0


def timed(work: Callable[[int], Any], rounds: int) -> tuple[float, float, float]:
    """(median of the clock, 95th percentile of the clock, median of the processor), in ms."""
    walls, worked = [], []
    for turn in range(rounds):
        wall, cpu = time.perf_counter(), time.process_time()
        work(turn)
        walls.append((time.perf_counter() - wall) * 1e3)
        worked.append((time.process_time() - cpu) * 1e3)
    walls.sort()
    return statistics.median(walls), walls[min(rounds - 1, int(0.95 * rounds))], statistics.median(worked)


def main() -> int:
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--rounds", type=int, default=60)
    rounds = given.parse_args().rounds
    with tempfile.TemporaryDirectory(prefix="trod-benchmark-") as scratch:
        os.environ["TROD_HOME"] = scratch
        from trod.catalogue.start import ready

        ready()
        from django.conf import settings
        from django.db import connection
        from django.test import Client
        from django.test.utils import CaptureQueriesContext

        from trod.catalogue import models as m

        settings.ALLOWED_HOSTS = ["testserver"]
        reserve = m.Reserve.objects.create(
            name="Hollin", slug="hollin", latitude=47.3, longitude=13.9, zone="Europe/Vienna"
        )
        m.Site.objects.create(
            reserve=reserve, name="Ford", slug="ford", latitude=47.31, longitude=13.91, feature="trail"
        )
        m.CameraModel.objects.create(
            maker="Umber", name="Two", slug="umber-two", trigger_time_s=0.4, burst_max=3, flash="low_glow",
            field_of_view_deg=42, detection_angle_deg=48, detection_range_m=20,
        )  # fmt: skip
        client = Client()
        address = "/map/sites/of/ford/planner/"
        path = {"units": "metric", "animal": "roe_deer", "camera_model": "umber-two", "feature": "trail",
                "path_bearing_deg": "40"}  # fmt: skip
        herd = {"units": "metric", "animal": "elk", "camera_model": "umber-two", "feature": "feeding",
                "herd": "30", "patch_near_m": "8", "patch_far_m": "24"}  # fmt: skip

        def ask(where: str, told: dict[str, str], begin: float) -> Callable[[int], Any]:
            return lambda turn: client.post(address + where, told | {"height_m": f"{begin + turn * 0.003:.3f}"})

        works: list[tuple[str, Callable[[int], Any], int]] = [
            ("a bare page (404 inside the house)", lambda _: client.get("/map/sites/of/none/"), rounds),
            ("the site's list of choices alone (new site)", lambda _: client.get("/map/sites/new/"), rounds),
            ("answer, animals pass", ask("answer/", path, 0.5), rounds),
            ("answer, a herd stays", ask("answer/", herd, 1.0), rounds),
            ("closer, animals pass", ask("closer/", path, 2.0), max(3, rounds // 10)),
            ("closer, a herd stays", ask("closer/", herd, 2.0), max(3, rounds // 10)),
        ]
        print(f"{datetime.now(UTC):%Y-%m-%d}, {rounds} calls each, every one another question\n")
        print(f"{'what':46}{'p50 ms':>9}{'p95 ms':>9}{'cpu p50':>9}{'ratio':>8}{'queries':>9}{'writes':>8}")
        bare = 0.0
        slow = 0
        for name, work, number in works:
            work(10_000)
            with CaptureQueriesContext(connection) as queries:
                work(10_001)
            writes = sum(q["sql"].split()[0] in ("INSERT", "UPDATE", "DELETE") for q in queries.captured_queries)
            asked = len(queries)
            p50, p95, cpu = timed(work, number)
            bare = bare or cpu
            print(f"{name:46}{p50:9.1f}{p95:9.1f}{cpu:9.1f}{cpu / bare:8.1f}{asked:9}{writes:8}")
            slow += name.startswith("answer") and cpu > GOAL_MS
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
