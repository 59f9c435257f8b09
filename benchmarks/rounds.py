"""How long a round takes to plan, and how far our own search stays behind the package.

    python benchmarks/rounds.py [--gap] [--sheet]

Without options: 40 stops on two days along an invented network of tracks, in its steps. --gap : both searches on
rounds drawn by chance, on rounds so small that every order can be tried, and on the published instances of
tests/planning/visit/test_ordering.py. --sheet : the PDF. Wall time; other work on the machine shows in it.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import TypeVar

import numpy as np

T = TypeVar("T")
LAT, LON = 47.30, 13.90


def timed(what: str, work: Callable[[], T]) -> T:
    """Do it, and print how long it took."""
    begin = time.perf_counter()
    found = work()
    print(f"{what:58s} {time.perf_counter() - begin:8.2f} s", flush=True)
    return found


def at(east_m: float, north_m: float) -> tuple[float, float]:
    """A point by metres from the yard."""
    return LAT + north_m / 111_195, LON + east_m / 75_400


def invented(stops: int, days: int, seed: int = 1):
    """A reserve of 9 by 7 km: a lattice of tracks with gaps, hills, and stops within 300 m of a track."""
    from trod.planning.ground.heightgrid import HeightGrid
    from trod.planning.visit.rounds import Span, Stop
    from trod.planning.visit.tracks import Track
    from trod.planning.visit.travel import Place

    chance = np.random.default_rng(seed)
    tracks = []
    for x in range(10):
        for y in range(8):
            for dx, dy in ((1, 0), (0, 1)):
                if x + dx < 10 and y + dy < 8 and chance.random() < 0.85:
                    ends = at(1000 * x, 1000 * y), at(1000 * (x + dx), 1000 * (y + dy))
                    tracks.append(Track(points=ends, drive=bool(y % 2 == 0 and dx)))
    for y in range(7):  # a road up the west side joins what can be driven on
        tracks.append(Track(points=(at(0, 1000 * y), at(0, 1000 * (y + 1))), drive=True))
    grid_y, grid_x = np.mgrid[0:400, 0:560]
    heights = 800 + 250 * np.sin(grid_x / 70) * np.cos(grid_y[::-1] / 60)
    grid = HeightGrid(heights, west=LON - 0.01, south=LAT - 0.01, cell=0.00025, degrees=True)
    first = date(2026, 3, 2)
    places = []
    for number in range(stops):
        lat, lon = at(chance.uniform(0, 9000), round(chance.uniform(0, 7000), -3) + chance.uniform(-300, 300))
        urgent = float(chance.gamma(1.2, 6.0))
        places.append(
            Stop(
                key=f"s{number}",
                name=f"Site {number}",
                latitude_deg=lat,
                longitude_deg=lon,
                there_min=float(chance.choice([15, 20, 25])),
                saves_days=tuple(max(0.0, urgent - 0.3 * d) for d in range(days)),
                window=Span(from_min=600, to_min=900) if chance.random() < 0.15 else None,
                closed={first: "closed that day"} if chance.random() < 0.1 else {},
                load_kg=float(chance.choice([0.5, 1.0, 2.5])),
                people=2 if chance.random() < 0.1 else 1,
            )
        )
    return Place(key="yard", latitude_deg=LAT, longitude_deg=LON), tuple(places), tracks, grid, first


def two_days(sheet: bool) -> None:
    """The goal: 40 stops on two days in less than 10 s."""
    from trod.field.round_sheet import RoundSheet, round_sheet_pdf
    from trod.leaving.rounds import fit_round
    from trod.planning.visit.rounds import Party, RoundDay, Span, plan_round
    from trod.planning.visit.tracks import along, join

    start, stops, tracks, grid, first = invented(40, 2)
    print(f"{len(stops)} stops, {len(tracks)} tracks")
    network = timed("tracks joined to a network", lambda: join(tracks, grid=grid))
    print(f"{'':4s}{network.length_m / 1000:.0f} km of track, {network.lat.size} steps")
    places = [start, *(stop.place for stop in stops)]
    ways = timed("ways between all, by car and on foot", lambda: along(places, network, drive=True, grid=grid))
    days = [RoundDay(day=first + timedelta(days=d), out=Span(from_min=420, to_min=1080)) for d in range(2)]
    parties = (Party(name="Vera", most_load_kg=25), Party(name="Ilo and Sten", people=2, most_load_kg=45))
    plan = None
    for who in (parties[1:], parties):
        for searcher in ("pyvrp", "own"):
            plan = timed(
                f"planned for {len(who)} part{'y' if len(who) == 1 else 'ies'} by {searcher}",
                lambda s=searcher, w=who: plan_round(stops, start=start, days=days, parties=w, ways=ways, searcher=s),
            )
            print(f"{'':4s}{plan.sentence}")
    if sheet and plan:
        timed("the sheet as PDF", lambda: round_sheet_pdf(RoundSheet(plan=fit_round(plan), reserve="Invented")))


def gap() -> None:
    """Our own search against the package and against the truth."""
    sys.path[:0] = [str(Path(__file__).resolve().parents[1] / "tests" / "planning")]
    import test_ordering as cases

    from trod.planning.visit.ordering import order

    print("\npublished instances: optimum, then the worst of five seeds")
    for name, places, optimum in cases.PUBLISHED:
        table = cases.geo(places)
        worst = {s: max(cases.tour(table, s, seed) for seed in range(1, 6)) for s in cases.SEARCHERS}
        print(f"  {name:10s} {optimum}  " + "  ".join(f"{s} {worst[s]}" for s in worst))
    misses = dict.fromkeys(cases.SEARCHERS, 0)
    for seed in range(200):
        travel, tasks, crews = cases.small_case(seed)
        best = cases.every_answer(travel, tasks, crews)
        for s in misses:
            misses[s] += order(travel, tasks, crews, searcher=s).cost_s != best
    print(f"\nsmall rounds of which every order was tried: 200; not the best order: {misses}")
    print("\nrounds drawn by chance, two days: time away in hours and stops made")
    for stops in (10, 20, 40, 60):
        for seed in range(1, 6):
            travel, tasks, crews = cases.scattered(stops, seed)
            told = []
            for s in cases.SEARCHERS:
                begin = time.perf_counter()
                found = order(travel, tasks, crews, searcher=s)
                took = time.perf_counter() - begin
                made = sum(map(len, found.routes))
                away = found.cost_s + sum(tasks[t].worth_s for route in found.routes for t in route)
                told.append((found.cost_s, f"{s} {away / 3600:6.2f} h {made:3d} in {took:5.2f} s"))
            behind = "" if told[0][0] == told[1][0] else f"  {(told[1][0] - told[0][0]) / 3600:+.2f} h"
            print(f"  {stops:3d} stops, seed {seed}: {told[0][1]}   {told[1][1]}{behind}", flush=True)


def main() -> None:
    """What the first lines say."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--gap", action="store_true", help="both searches side by side")
    ask.add_argument("--sheet", action="store_true", help="the PDF, too")
    asked = ask.parse_args()
    two_days(asked.sheet)
    if asked.gap:
        gap()


if __name__ == "__main__":
    main()
