"""How long stop forecasts take, how uncertain the quick ones are, and the table of docs/models/endurance.md.

Run:  PYTHONPATH=src python benchmarks/endurance.py [--cameras 200] [--table]

Times are processor time of one thread, the best of three.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from trod.planning.equipment.batteries import BATTERIES, Pack
from trod.planning.equipment.energy import Draw
from trod.planning.ground.site import Feature
from trod.planning.ground.weather import DEFAULT_CLIMATE, Climate
from trod.planning.last.arrivals import Arrivals, DayCount, Prior, Season
from trod.planning.last.endurance import (
    EnergyScale,
    Outfit,
    StopForecast,
    Task,
    Used,
    forecast,
    forecast_many,
    screen,
)

START = date(2027, 10, 1)
KINDS: tuple[Feature, ...] = ("trail", "road", "water", "lick", "feeding", "meadow", "saddle", "den", "fence")


def reserve(cameras: int) -> list[Task]:
    """Invented cameras of all kinds of sites, two in three with a card of 40 days behind them."""
    rng = np.random.default_rng(1)
    tasks = []
    for i in range(cameras):
        pack = Pack(battery=BATTERIES[("FR6", "LR6", "HR6")[i % 3]], number=(8, 12)[i % 2])
        outfit = Outfit(pack=pack, card_gb=(64, 128)[i % 2])
        site = Arrivals.for_site(KINDS[i % len(KINDS)])
        used = Used()
        if i % 3:
            level = site.posterior.level.per_day * math.exp(rng.normal(0, 0.7))
            days = [START + timedelta(days=d - 40) for d in range(40)]
            counts = [
                DayCount(day=day, animals=int(n), blanks=int(b) if rng.random() < 0.06 else 0)
                for day, n, b in zip(days, rng.negative_binomial(1.2, 1.2 / (1.2 + level), 40),
                                     rng.negative_binomial(1.5, 1.5 / 61.5, 40), strict=True)
            ]  # fmt: skip
            used = Used.of(outfit, counts, fresh_batteries=START if i % 4 else days[0], card_in=START)
            site = site.after(counts)
        tasks.append(Task(outfit=outfit, arrivals=site, start=START, used=used, faults_per_day=1 / 600))
    return tasks


def best(what: Callable[[], object]) -> float:
    """Least processor time of three. [s]"""
    times = []
    for _ in range(3):
        began = time.process_time()
        what()
        times.append(time.process_time() - began)
    return min(times)


def anew(tasks: list[Task]) -> list[Task]:
    """The same tasks with nothing remembered of what their counts say."""
    return [replace(task, arrivals=replace(task.arrivals)) for task in tasks]


def known(level: float, *, night: float = 0.5, false_runs: float = 0.03) -> Arrivals:
    """A site known to 30 %, a flat year, usual runs of false triggers."""
    prior = Prior(level_per_day=level, shape=1 / 0.09, season=Season(amplitude=0.0), night_share=night, night_weight=1e6,
                  false_run_start=false_runs, false_run_weight=1e6, false_run_sigma_ln=0.01)  # fmt: skip
    return Arrivals(prior=prior)


def table() -> None:
    """First stops of usual cameras."""
    # What the earlier study took; the present assumptions are hungrier. The table checks the program.
    studied = Draw(idle_w=0.0012, wake_j=2.0, day_frame_j=1.0, night_frame_j=7.0)
    hungry = replace(studied, idle_w=0.004, wake_j=4, night_frame_j=12)
    frost = Climate.seasonal(mean_c=0.0)
    rows: list[tuple[str, Arrivals, Outfit, date, Climate]] = []

    def add(name: str, site: Arrivals, battery: str, batteries: int, start: date = date(2027, 1, 1),
            climate: Climate = DEFAULT_CLIMATE, **more: float) -> None:  # fmt: skip
        kit = Outfit(draw=studied, scale=EnergyScale(), pack=Pack(battery=BATTERIES[battery], number=batteries), **more)  # type: ignore[arg-type]
        rows.append((f"{name}, {battery} × {batteries}, {kit.card_gb:g} GB", site, kit, start, climate))

    quiet, trail, feeding = known(6), known(20), known(120, night=0.6)
    add("quiet trail, 6 a day", quiet, "FR6", 8)
    add("the same without runs of false triggers", known(6, false_runs=0), "FR6", 8)
    add("quiet trail", quiet, "FR6", 12)
    kit = Outfit(pack=Pack(battery=BATTERIES["FR6"], number=8), draw=hungry, scale=EnergyScale())
    rows.append(("quiet trail, hungry camera, FR6 × 8, 32 GB", quiet, kit, date(2027, 1, 1), DEFAULT_CLIMATE))
    for battery, batteries in (("LR6", 8), ("LR6", 12), ("HR6", 8), ("HR6", 12)):
        add("quiet trail", quiet, battery, batteries)
    add("trail, 20 a day", trail, "FR6", 8)
    add("trail from 1 November, mean 0 °C", trail, "LR6", 8, date(2027, 11, 1), frost)
    add("trail from 1 November, mean 0 °C", trail, "FR6", 8, date(2027, 11, 1), frost)
    add("feeding ground, 120 a day", feeding, "FR6", 8)
    add("feeding ground", feeding, "FR6", 12, card_gb=128)
    add("feeding ground", feeding, "LR6", 8)
    for card in (32, 128):
        filmed = known(60, night=0.6)
        add("feeding ground, 60 a day, clips of 15 s", filmed, "FR6", 12, frames=0, clip_s=15, card_gb=card)
    print("| camera | first stop, days (10/50/90 %) | batteries first | of these cold only | closed form |")
    print("|---|---|---|---|---|")
    for name, site, kit, start, climate in rows:
        told = forecast(kit, site, start, climate=climate, futures=4000, second_date=False)
        quick = screen(kit, site, start, climate=climate)
        days = "/".join(f"{x:.0f}" for x in (told.stop.q10, told.stop.q50, told.stop.q90))
        closed = "/".join(f"{quick.day(q):.0f}" for q in (0.1, 0.5, 0.9))
        print(f"| {name} | {days} | {told.causes['batteries']:.2f} | {told.cold_share:.2f} | {closed} |")


def practice() -> None:
    """Before anything is known of the camera: twelve lithium batteries, 20 triggers a day as guessed, a large card."""
    print("\n| set up | pictures a trigger | draw | first stop, days (10/50/90 %) |")
    print("|---|---|---|---|")
    site = Arrivals.for_site("trail", level_per_day=20)
    for start in (date(2027, 5, 1), date(2027, 10, 1)):
        for frames in (1, 3):
            kit = Outfit(pack=Pack(battery=BATTERIES["FR6"], number=12), card_gb=256, frames=frames)
            its = kit.draw
            own = its.measured(
                idle_w=its.idle_w, wake_j=its.wake_j, day_frame_j=its.day_frame_j, night_frame_j=its.night_frame_j
            )
            for words, draw in (("assumed", its), ("the same, measured", own)):
                stop = forecast(replace(kit, draw=draw), site, start, futures=4000, second_date=False).stop
                days = "/".join(f"{x:.0f}" for x in (stop.q10, stop.q50, stop.q90))
                print(f"| {start.day} {start:%B} | {frames} | {words} | {days} |")


def scatter(tasks: list[Task]) -> None:
    """How much the early date of the quick forecast changes with the seed, against the fine one."""
    found: dict[str, list[float]] = {"quick": [], "fine": []}
    gap = []
    for task in tasks[:30]:
        quick = [forecast_many([task], seed=s)[0] for s in range(8)]
        fine = [_fine(task, s) for s in range(8)]
        width = float(np.mean([min(f.stop.q90, 1096) - f.stop.q10 for f in fine]))
        for name, told in (("quick", quick), ("fine", fine)):
            found[name].append(float(np.std([f.stop.q10 for f in told], ddof=1)) / width)
        gap.append(float(np.mean([q.stop.q10 for q in quick]) - np.mean([f.stop.q10 for f in fine])) / width)
    print("standard error of the early date, as a share of the band's width:",
          ", ".join(f"{name} {np.mean(x):.3f}" for name, x in found.items()),
          f"; quick less fine {np.mean(gap):+.3f} ± {np.std(gap) / math.sqrt(len(gap)):.3f}")  # fmt: skip


def _fine(task: Task, seed: int) -> StopForecast:
    return forecast(
        task.outfit, task.arrivals, task.start, used=task.used, faults_per_day=task.faults_per_day, seed=seed
    )


def main() -> None:
    """Print times, and the table if asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cameras", type=int, default=200)
    parser.add_argument("--table", action="store_true")
    asked = parser.parse_args()
    tasks = reserve(asked.cameras)
    forecast_many(tasks[:8])
    whole = best(lambda: forecast_many(anew(tasks)))
    fine = best(lambda: [_fine(task, 0) for task in tasks[:20]]) / 20
    closed = best(lambda: [screen(t.outfit, t.arrivals, t.start, used=t.used) for t in tasks[:20]]) / 20
    print(f"{asked.cameras} cameras with forecast_many, all worked out from their counts: {whole:.2f} s")
    print(f"one camera, 2000 futures day by day, with its second date: {fine * 1000:.0f} ms")
    print(f"one camera in closed form: {closed * 1000:.1f} ms")
    scatter(tasks)
    if asked.table:
        table()
        practice()


if __name__ == "__main__":
    main()
