"""How often rates as if every camera were equally good hold the truth: the tables of docs/models/equal-cameras.md.

Run:  PYTHONPATH=src python benchmarks/equal_cameras.py [--replicates 400] [--processes 1] [--only rate|ratio]

26 weeks at sites that differ (gamma, shape 1), watched by cameras of two kinds: one catches about 80 of 100 animals
that pass, the other about 30, by night 0.7 times as many as by day; 70 of 100 come by night. Each animal that passes is
caught or not by itself. What is told of the chances is off by a step for each kind and one for each site, on the log
scale. Laws of coming as in benchmarks/rates.py. All goes the whole way, from observations to the answer.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np  # noqa: E402
from rates import LAWS, WARM  # noqa: E402

from trod.errors import NotEnoughEvidence  # noqa: E402
from trod.findings import Deployment, Evidence, Filter, Observation, Reserve, rates  # noqa: E402
from trod.findings.equal_cameras import LIGHTS, Chance, equal_cameras  # noqa: E402

BEGIN_S = 1_735_689_600.0  # 1 January 2025, 00:00 UTC
DAYS, DAY_S = 182, 86_400.0
MONTHS = tuple(date(2025, month, 1) for month in range(1, 8))
ASKED = Filter(species=("deer",), independence_min=0.0, species_names={"deer": "Deer"})
RESERVE = Reserve(name="Hollin Fold (invented)", latitude_deg=47.3, longitude_deg=12.8, zone="UTC")
KINDS = (0.8, 0.3)
NIGHT_SHARE, BY_NIGHT = 0.7, 0.7


@dataclass(frozen=True)
class Case:
    """step : true standard deviation of each cause; told : as it is told. factor : all told chances times this.

    winter : true chance of the first three months over that of the rest; seen : whether what is told knows it.
    plain : the rate as recorded, held against the same truth.
    """

    step: float = 0.0
    told: float | None = None
    factor: float = 1.0
    winter: float = 1.0
    seen: bool = True
    plain: bool = False


CASES = {
    "taken as equal (as recorded)": Case(plain=True),
    "known exactly": Case(),
    "known well (sd 0.1 and 0.1)": Case(step=0.1),
    "known badly (sd 0.2 and 0.2)": Case(step=0.2),
    "known hardly (sd 0.4 and 0.4)": Case(step=0.4),
    "all told at 0.6 of the truth, sd 0.1 and 0.1": Case(step=0.1, factor=0.6),
    "half in the first three months, known, sd 0.1 and 0.1": Case(step=0.1, winter=0.5),
    "half in the first three months, not known": Case(step=0.1, winter=0.5, seen=False),
    "sd 0.3 and 0.3, told as 0.1 and 0.1": Case(step=0.3, told=0.1),
}
CELLS = (("single", 2, 60), ("single", 6, 60), ("runs", 6, 60), ("runs", 6, 300), ("runs", 12, 200))


def one(arguments: tuple[Any, ...]) -> tuple[float, float, float, float] | None:
    """(low, high, value, truth) of one throw; None where it is refused.

    ratio : of two sites at which equally many pass, one camera of each kind.
    """
    seed, name, law, sites, expected, ratio = arguments
    case = CASES[name]
    rng = np.random.default_rng([seed, sites, expected, int(ratio), *name.encode(), *law.encode()])
    level = np.ones(sites) if ratio else rng.gamma(1.0, 1.0, sites) + 1e-9
    kind = np.arange(sites) % 2
    at_site = 1.0 if ratio else np.exp(rng.normal(0, 0.15, sites))
    by_day = np.minimum(np.array(KINDS)[kind] * at_site, 0.95)
    season = np.array([case.winter] * 3 + [1.0] * 4)
    true = {light: np.outer(by_day * (BY_NIGHT if light == "night" else 1.0), season) for light in LIGHTS}
    caught = NIGHT_SHARE * true["night"].mean(1) + (1 - NIGHT_SHARE) * true["day"].mean(1)
    level *= expected / float(level @ caught) / DAYS
    observations, deployments, chances = [], [], []
    of_kind, of_site = rng.normal(0, 1, 2), rng.normal(0, 1, sites)
    told = case.step if case.told is None else case.told
    for n in range(sites):
        slug = f"s{n}"
        deployments.append(Deployment(slug="1", site=slug, watched=((BEGIN_S, BEGIN_S + DAYS * DAY_S),)))
        daily = LAWS[law](rng, float(level[n]), DAYS + WARM)[WARM:].astype(int)
        for day in np.flatnonzero(daily).tolist():
            month = _month(day)
            for k in range(int(daily[day])):
                night = rng.random() < NIGHT_SHARE
                if rng.random() >= true["night" if night else "day"][n, month]:
                    continue
                hour = rng.uniform(0, 3) if night else rng.uniform(10, 15)
                key = f"{slug} {day} {k}"
                at = BEGIN_S + DAY_S * day + 3600 * hour
                observations.append(
                    Observation(sequence=key, deployment="1", site=slug, utc_s=at, species="deer", picture=key)
                )
        off = case.factor * math.exp(case.step * (of_kind[kind[n]] + of_site[n]))
        for light in LIGHTS:
            for at_month, month_ in enumerate(MONTHS):
                value = true[light][n, at_month] / (1.0 if case.seen else season[at_month])
                chances.append(
                    Chance(
                        deployment=f"{slug}/1", month=month_, light=light, value=min(value * off, 1.0),
                        effects={f"kind {kind[n]}": told, f"site {n}": told},
                    )
                )  # fmt: skip
    evidence = Evidence(
        reserve=RESERVE, deployments=tuple(deployments), observations=tuple(observations), review_order="time"
    )  # fmt: skip
    try:
        found = equal_cameras(evidence, ASKED, chances)
    except NotEnoughEvidence:
        return None
    if ratio:
        if found.ratio is None:
            return None
        if case.plain:
            counts = [site.found for site in found.sites]
            days = [site.days for site in found.sites]
            wide = (found.ratio.interval.high / found.ratio.interval.low) ** 0.5
            value = counts[0] / days[0] / (counts[1] / days[1])
            return value / wide, value * wide, value, 1.0
        return found.ratio.interval.low, found.ratio.interval.high, found.ratio.ratio, 1.0
    if found.shown.kind == rates.SINGLY:
        return None
    days_by_month = np.array([sum(1 for d in range(DAYS) if _month(d) == m) for m in range(7)])
    mean = sum(float((true[light].mean(0) @ days_by_month) / DAYS) for light in LIGHTS) / 2
    truth = 100 * mean * float(level.mean())
    if case.plain:  # the same width about the rate as recorded: nothing is known of the chances, so no doubt is in it
        scale = found.plain / found.equal
        return found.shown.low * scale, found.shown.high * scale, found.plain, truth
    return found.shown.low, found.shown.high, found.equal, truth


def _month(day: int) -> int:
    return date.fromordinal(date(2025, 1, 1).toordinal() + day).month - 1


def cell(pool: ProcessPoolExecutor | None, replicates: int, *given: Any) -> str:
    """Coverage % (refused %), median high/low, median of value over truth."""
    tasks = [(seed, *given) for seed in range(replicates)]
    told = list(pool.map(one, tasks, chunksize=10)) if pool else [one(task) for task in tasks]
    kept = [each for each in told if each is not None]
    if len(kept) < replicates / 20:
        return f"– ({100 - round(100 * len(kept) / replicates)}) | – | –"
    held = 100 * sum(low <= true <= high for low, high, _, true in kept) / len(kept)
    refused = 100 - round(100 * len(kept) / replicates)
    wide = np.median([high / low for low, high, _, _ in kept if low > 0] or [np.inf])
    middle = np.median([value / true for _, _, value, true in kept])
    return f"{held:.0f}{f' ({refused})' if refused else ''} | {wide:.1f} | {middle:.2f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0] if __doc__ else "")
    parser.add_argument("--replicates", type=int, default=400)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--only", choices=("rate", "ratio"))
    given = parser.parse_args()
    pool = ProcessPoolExecutor(given.processes) if given.processes > 1 else None
    for which in ("rate", "ratio"):
        if given.only not in (None, which):
            continue
        print(f"| chances | law | sites, E | {which}: coverage (refused) | high/low | value/truth |")
        print("|---|---|---|---|---|---|")
        for law, sites, expected in CELLS if which == "rate" else (("single", 2, 60), ("runs", 2, 60), ("runs", 2, 300)):
            for name in CASES:
                told = cell(pool, given.replicates, name, law, sites, expected, which == "ratio")
                print(f"| {name} | {law} | {sites}, {expected} | {told} |", flush=True)
        print()


if __name__ == "__main__":
    main()
