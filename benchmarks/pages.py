"""Server time of every page, on a scratch catalogue of any size, and the number of its queries.

    python benchmarks/pages.py --pictures 200000 [--home FOLDER] [--rounds 25]

A folder given by --home is filled once and used again. Times are those of the whole answer inside the server,
by Django's test client, one call after another; the first call of each page is counted apart, with nothing in memory.
What the worker makes beside the pages is made before and told apart. On a busy machine look at the last column, the
processor's own time.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

GOAL_MS = 150.0


def addresses() -> list[tuple[str, str]]:
    """Every page of the way round, and one of each kind of detail page: (name, address)."""
    from django.urls import reverse

    from trod.catalogue.models import (
        Camera,
        CameraModel,
        Card,
        Deployment,
        Placement,
        Sequence,
        Sign,
        Site,
        Species,
        Visit,
    )
    from trod.web import pages

    out = [(door.label, reverse(door.url_name)) for door in (*pages.NAV, *pages.FOOT)]
    busiest = Deployment.objects.order_by("start", "pk").first()
    if busiest is None:
        return out
    standing = Deployment.objects.filter(end__isnull=True).order_by("start", "pk").first()
    out += [
        ("a site", Site.objects.get(pk=busiest.site_id).get_absolute_url()),
        ("a site's year", reverse("map:site_year", args=[busiest.site.slug, busiest.start.year])),
        ("what came first and last", reverse("questions:first-last")),
        ("side by side", reverse("questions:side-by-side")),
        ("a camera", Camera.objects.get(pk=busiest.camera_id).get_absolute_url()),
        ("a deployment", busiest.get_absolute_url()),
        ("change a deployment", reverse("cameras:deployment_edit", args=[busiest.slug])),
        ("how long it lasts", reverse("cameras:power", args=[(standing or busiest).slug])),
        ("correct a clock", reverse("cameras:clock_new", args=[busiest.slug])),
        ("retrieve", reverse("cameras:deployment_end", args=[busiest.slug])),
        ("delete a deployment", reverse("cameras:deployment_delete", args=[busiest.slug])),
        ("a visit", reverse("cameras:visit_edit", args=[Visit.objects.order_by("pk").first().pk])),
        ("record a visit", reverse("cameras:visit_new") + f"?deployment={busiest.slug}"),
        ("new deployment", reverse("cameras:deployment_new")),
        ("new site", reverse("map:site_new")),
        ("a sign", reverse("map:sign_edit", args=[Sign.objects.order_by("pk").first().pk])),
        ("boundary and tracks", reverse("map:tracks")),
        ("camera models", reverse("cameras:models")),
        ("which camera for what", reverse("cameras:compare")),
        ("bring camera models", reverse("cameras:models_import")),
        ("new camera model", reverse("cameras:model_new")),
        ("settings of a site", reverse("map:settings", args=[Site.objects.get(pk=busiest.site_id).slug])),
        ("where next", reverse("map:season")),
        ("which card is where", reverse("cameras:cards")),
        ("a card's way", reverse("maintenance:card", args=[Card.objects.order_by("pk").first().pk])),
        ("maintenance", reverse("maintenance:maintenance")),
        ("locks and keys", reverse("maintenance:locks")),
        ("new lock", reverse("maintenance:lock_new")),
        ("theft and damage", reverse("maintenance:incidents")),
        ("write an incident down", reverse("maintenance:incident_new")),
        ("how long batteries lasted", reverse("maintenance:all_batteries")),
        ("batteries of a camera", reverse("maintenance:batteries", args=[busiest.camera_id])),
        ("the stock", reverse("maintenance:stock")),
        ("new on the stock", reverse("maintenance:stock_new")),
        ("what a year costs", reverse("maintenance:costs_of", args=[busiest.start.year])),
        ("bring a list", reverse("cameras:import", args=["sites"])),
        ("species", reverse("people:species")),
        ("a species", reverse("people:species_edit", args=[Species.objects.order_by("pk").first().slug])),
        ("the reserve", reverse("people:reserve")),
        ("the placement planner", reverse("planner:planner", args=[busiest.site.slug])),
        ("ways side by side", reverse("planner:beside", args=[busiest.site.slug])),
        ("specification and field test", reverse("planner:field", args=[busiest.site.slug])),
        ("hills around", reverse("planner:hills", args=[busiest.site.slug])),
        (
            "note a walk test",
            reverse("planner:walk_test_new", args=[busiest.site.slug]) + f"?deployment={busiest.slug}",
        ),
        ("plan a round", reverse("rounds:new")),
        ("bring notes home", reverse("rounds:home")),
        ("where rounds start", reverse("rounds:start")),
        ("cold nights", reverse("rounds:nights")),
        ("Today, 2 years", reverse("today:today") + "?days=730"),
    ]
    model = CameraModel.objects.first()
    if model is not None:
        out += [
            ("a camera model", reverse("cameras:model", args=[model.slug])),
            ("what it really resolves", reverse("cameras:resolves", args=[model.slug])),
            ("change a camera model", reverse("cameras:model_edit", args=[model.slug])),
        ]
    placement = Placement.objects.order_by("pk").first()
    if placement is not None:
        out.append(("a set-up sheet", reverse("setup_sheet:setup_sheet", args=[placement.uuid])))
    sequence = Sequence.objects.order_by("start_at", "pk").first()
    if sequence is not None:
        out.append(("a sequence", reverse("review:sequence", args=[sequence.pk])))
    return out


def work() -> None:
    """What the worker does between two jobs: sums, forecasts, and one camera in full as if somebody had asked for it."""
    from django.utils import timezone

    from trod.catalogue.forecasts import forecasts, lasting
    from trod.catalogue.models import Deployment, Reserve
    from trod.catalogue.rows import rollups
    from trod.planning.last.outfit_change import Change

    now = timezone.now()
    rollups.look_round()
    for reserve in Reserve.objects.all():
        forecasts.make(reserve, now)
    standing = Deployment.objects.filter(end__isnull=True).select_related("camera__model", "site__reserve", "card")
    if (row := standing.order_by("start", "pk").first()) is not None:
        lasting.make(row, now, price=forecasts.UNTYPED, change=Change())


def measure(rounds: int) -> list[tuple[str, str, int, float, float, float, int, float]]:
    """(name, address, status, first, p50, p95, queries, p50 of the processor's time) of each page; in ms."""
    from django.conf import settings
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from trod.web import reading

    settings.ALLOWED_HOSTS = ["testserver"]
    client = Client(raise_request_exception=False)
    out = []
    for name, address in addresses():
        began = time.perf_counter()
        status = client.get(address).status_code
        first_ms = (time.perf_counter() - began) * 1e3
        while (reader := reading._at_work) is not None and reader.is_alive():  # the page said so
            reader.join()
            print(f"{name} was there after {time.perf_counter() - began:.1f} s, read or counted beside the pages")
            client.get(address)
        with CaptureQueriesContext(connection) as queries:
            client.get(address)
        asked = len(queries)  # now: the next call empties the log
        times, worked = [], []
        for _ in range(rounds):
            began, began_work = time.perf_counter(), time.process_time()
            client.get(address)
            times.append((time.perf_counter() - began) * 1e3)
            worked.append((time.process_time() - began_work) * 1e3)
        times.sort()
        worked.sort()
        p95 = times[min(len(times) - 1, int(0.95 * len(times)))]
        out.append((name, address, status, first_ms, times[len(times) // 2], p95, asked, worked[len(worked) // 2]))
    return out


def main() -> int:
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--pictures", type=int, default=200_000)
    given.add_argument("--home", type=Path)
    given.add_argument("--rounds", type=int, default=25)
    options = given.parse_args()
    with tempfile.TemporaryDirectory(prefix="trod-pages-") as scratch:
        os.environ["TROD_HOME"] = str(options.home or scratch)
        from trod.catalogue.start import ready

        ready()
        from django.db import connection

        from trod.catalogue.models import Picture, Sequence

        if not Picture.objects.exists():
            sys.path.insert(0, str(Path(__file__).parent))
            from fill import fill

            began = time.perf_counter()
            began_work = time.process_time()
            fill(options.pictures)
            print(
                f"filled in {time.perf_counter() - began:.0f} s "
                f"({time.process_time() - began_work:.0f} s of processor time)"
            )
        began, began_work = time.perf_counter(), time.process_time()
        work()
        print(
            f"the worker took {time.perf_counter() - began:.0f} s for what it does beside the pages "
            f"({time.process_time() - began_work:.0f} s of processor time)"
        )
        from trod.catalogue.answers import evidence

        evidence.forget()  # the pages' own process begins with nothing in memory
        load = " ".join(f"{n:.0f}" for n in os.getloadavg()) if hasattr(os, "getloadavg") else "not known"
        print(
            f"load average {load}; {connection.vendor}; "
            f"{Picture.objects.count()} pictures, {Sequence.objects.count()} sequences; "
            f"{options.rounds} calls each\n"
        )
        measured = measure(options.rounds)
        print()
        print(f"{'page':24}{'first ms':>10}{'p50 ms':>9}{'p95 ms':>9}{'queries':>9}{'cpu p50':>9}")
        slow = 0
        for name, address, status, first_ms, p50, p95, queries, cpu in measured:
            note = "" if status == 200 else f"  answered {status} at {address}"
            note += f"  above {GOAL_MS:.0f} ms" if p95 > GOAL_MS else ""
            slow += p95 > GOAL_MS or status != 200
            print(f"{name:24}{first_ms:10.0f}{p50:9.1f}{p95:9.1f}{queries:9}{cpu:9.1f}{note}")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
