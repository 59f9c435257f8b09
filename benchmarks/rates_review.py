"""How often rates hold the truth where part waits for review or part of the effort is open: docs/models/rates.md.

Run:  PYTHONPATH=src python benchmarks/rates_review.py [--replicates 400] [--processes 1] [--only review|effort]

A year of 52 weeks at sites that differ (gamma, shape 1). The animal asked for is nocturnal in 70 of 100 detections;
another comes every fourth day, by day. Laws of coming as in benchmarks/rates.py. Everything goes the whole way, from
sequences and pictures to the answer of "What comes here?".
"""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np  # noqa: E402
from rates import LAWS, WARM  # noqa: E402

from trod.errors import NotEnoughEvidence  # noqa: E402
from trod.findings import (  # noqa: E402
    Deployment,
    Evidence,
    Filter,
    Gap,
    Observation,
    Reserve,
    UnseenSequence,
    watching,
    what_comes,
)

BEGIN_S = 1_735_689_600.0  # 1 January 2025, 00:00 UTC
DAYS, DAY_S = 364, 86_400.0
LAST = 273  # the last quarter begins
ASKED = Filter(species=("deer",), independence_min=0.0, species_names={"deer": "Deer"})
RESERVE = Reserve(name="Hollin Fold (invented)", latitude_deg=47.3, longitude_deg=12.8, zone="UTC")


def efforts(rng: np.random.Generator, kind: str, sites: int) -> list[np.ndarray]:
    """Days watched of each site, 0 or 1."""
    out = []
    for _ in range(sites):
        days = np.ones(DAYS)
        if kind == "uneven":
            days[int(10 ** rng.uniform(1.5, 2.56)) :] = 0
        elif kind == "coming and going":
            first, last = sorted(rng.integers(0, DAYS, 2).tolist())
            days[:first] = 0
            days[max(last, first + 28) :] = 0
            days[np.repeat(rng.random(52) < 1 / 3, 7)] = 0
        out.append(days if days.any() else np.ones(DAYS))
    return out


def came(rng: np.random.Generator, law: str, expected: float, watched: list[np.ndarray]) -> list[np.ndarray]:
    """Detections of each site and day, watched or not; `expected` in all that is watched."""
    level = rng.gamma(1.0, 1.0, len(watched)) + 1e-9
    level *= expected / float(level @ np.array([w.sum() for w in watched]))
    return [LAWS[law](rng, each, DAYS + WARM)[WARM:].astype(int) for each in level]


def sequences(rng: np.random.Generator, site: str, daily: np.ndarray, watched: np.ndarray) -> list[Observation]:
    """What a camera recorded."""
    out = []
    for day in np.flatnonzero(watched).tolist():
        for n in range(int(daily[day])):
            hour = rng.uniform(0, 3) if rng.random() < 0.7 else rng.uniform(10, 15)
            out.append(_one(site, day, hour, "deer", n))
        if day % 4 == 0:
            out.append(_one(site, day, rng.uniform(9, 16), "hare", 0))
    return out


def _one(site: str, day: int, hour: float, species: str, n: int) -> Observation:
    key = f"{site} {day} {species} {n}"
    at = BEGIN_S + DAY_S * day + 3600 * hour
    return Observation(sequence=key, deployment=f"{site}-1", site=site, utc_s=at, species=species, picture=key)


CELLS = (
    ("even", "runs", 4, 60),
    ("coming and going", "runs", 4, 60),
    ("uneven", "single", 4, 60),
    ("even", "single", 12, 60),
)
# Case: (odds of deer against others to be reviewed, share of the last quarter reviewed, how it is told).
REVIEW: dict[str, tuple[float, float, str]] = {
    "all reviewed": (1.0, 1.0, "time"),
    "last quarter 80 % unsorted, by chance": (1.0, 0.2, "time"),
    "the same, counted as none (before)": (1.0, 0.2, "none"),
    "last quarter: day 35 %, night 0": (1.0, -1.0, "time"),
    "last quarter 80 % unsorted, likely ones first, order unknown": (5.0, 0.2, "unknown"),
    "the same, taken for chance": (5.0, 0.2, "time"),
}


def review(rng: np.random.Generator, seen: list[Observation], case: str) -> tuple[list[Observation], list[Any], str]:
    """What was reviewed, what waits, and the order that is told."""
    odds, share, order = REVIEW[case]
    kept, waits = [], []
    for one in seen:
        day = int((one.utc_s - BEGIN_S) // DAY_S)
        chance = 1.0
        if day >= LAST:
            night = (one.utc_s - BEGIN_S) % DAY_S < 4 * 3600
            chance = share if share >= 0 else 0.0 if night else 0.35
            if odds != 1 and one.species == "deer":
                chance = odds * share / (1 - share + odds * share)
        (kept if rng.random() < chance else waits).append(one)
    if order == "none":
        return kept, [], "time"
    return kept, [UnseenSequence(sequence=o.sequence, site=o.site, utc_s=o.utc_s) for o in waits], order


def one_review(arguments: tuple[Any, ...]) -> tuple[float, float, float, float] | None:
    """(low, high, value, truth) of one throw; None where it is refused."""
    seed, case, effort, law, sites, expected = arguments
    rng = np.random.default_rng([seed, sites, expected, *case.encode(), *effort.encode(), *law.encode()])
    watched = efforts(rng, effort, sites)
    daily = came(rng, law, expected, watched)
    seen = [o for n in range(sites) for o in sequences(rng, f"s{n}", daily[n], watched[n])]
    kept, waits, order = review(rng, seen, case)
    deployments = tuple(Deployment(slug=f"s{n}-1", site=f"s{n}", watched=_spans(watched[n])) for n in range(sites))
    evidence = Evidence(
        reserve=RESERVE, deployments=deployments, observations=tuple(kept), unseen=tuple(waits), review_order=order
    )  # fmt: skip
    return _told(evidence, 100 * expected / float(sum(w.sum() for w in watched)))


def one_effort(arguments: tuple[Any, ...]) -> tuple[float, float, float, float] | None:
    """The same where half of the cameras die at a time that nobody knows, with some pictures a day beside the animal's.

    case : proven, possible or counted (with both ends) effort.
    """
    seed, case, a_day, law, sites, expected = arguments
    rng = np.random.default_rng([seed, sites, expected, round(10 * a_day), *case.encode(), *law.encode()])
    length = 60
    lives = [np.ones(DAYS) * (np.arange(DAYS) < length) for _ in range(sites)]
    until = [rng.uniform(0, length) if rng.random() < 0.5 else float(length) for _ in range(sites)]
    for n, end in enumerate(until):
        lives[n][int(end) :] = 0
    level = rng.gamma(1.0, 1.0, sites) + 1e-9
    level *= expected / (float(level.mean()) * length * sites)
    observations, deployments = [], []
    for n in range(sites):
        daily = LAWS[law](rng, float(level[n]), DAYS + WARM)[WARM:].astype(int)
        own = [o for o in sequences(rng, f"s{n}", daily, lives[n]) if o.species == "deer"]
        own = [o for o in own if o.utc_s < BEGIN_S + DAY_S * until[n]]
        others = BEGIN_S + np.sort(rng.uniform(0, until[n], rng.poisson(a_day * until[n]))) * DAY_S
        found = watching.work_out(
            BEGIN_S, BEGIN_S + length * DAY_S, pictures_s=[*(o.utc_s for o in own), *others.tolist()],
            facts=[watching.Fact(at_s=BEGIN_S, says="watching")],
        )  # fmt: skip
        spans = {"counted": found.counted, "proven": found.watched, "possible": (*found.watched, *found.open)}[case]
        open_ = found.open if case == "counted" else ()
        deployments.append(
            Deployment(
                slug=f"s{n}-1", site=f"s{n}", watched=tuple((i.from_s, i.to_s) for i in spans),
                open=tuple(Gap(start_s=g.from_s, end_s=g.to_s, reason=g.reason) for g in open_),
            )
        )  # fmt: skip
        observations += own
    truth = 100 * float(level @ np.array(until)) / float(sum(until))
    evidence = Evidence(
        reserve=RESERVE, deployments=tuple(deployments), observations=tuple(observations), review_order="time"
    )  # fmt: skip
    return _told(evidence, truth)


def _spans(days: np.ndarray) -> tuple[tuple[float, float], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], days, [0.0]])))
    return tuple((BEGIN_S + DAY_S * float(a), BEGIN_S + DAY_S * float(b)) for a, b in edges.reshape(-1, 2))


def _told(evidence: Evidence, truth: float) -> tuple[float, float, float, float] | None:
    try:
        found = what_comes(evidence, ASKED)
    except NotEnoughEvidence:
        return None
    row = next((row for row in found.rows if row["species_key"] == "deer"), None)
    if row is None or row["rate"] is None or "hold only if" in str(row["interval_kind"]):
        return None
    return float(row["low"]), float(row["high"]), float(row["rate"]), truth


def cell(pool: ProcessPoolExecutor | None, work: Any, replicates: int, *given: Any) -> str:
    """Coverage % (refused %), median high/low, mean of value over truth."""
    tasks = [(seed, *given) for seed in range(replicates)]
    told = list(pool.map(work, tasks, chunksize=10)) if pool else [work(task) for task in tasks]
    kept = [one for one in told if one is not None]
    if not kept:
        return "refused | – | –"
    held = 100 * sum(low <= true <= high for low, high, _, true in kept) / len(kept)
    refused = 100 - round(100 * len(kept) / replicates)
    wide = np.median([high / low for low, high, _, _ in kept if low > 0] or [np.inf])
    bias = np.mean([value / true for _, _, value, true in kept])
    return f"{held:.0f}{f' ({refused})' if refused else ''} | {wide:.1f} | {bias:.2f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0] if __doc__ else "")
    parser.add_argument("--replicates", type=int, default=400)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--only", choices=("review", "effort"))
    given = parser.parse_args()
    pool = ProcessPoolExecutor(given.processes) if given.processes > 1 else None
    if given.only != "effort":
        print("| review | effort | law | sites, E | coverage (refused) | high/low | value/truth |")
        print("|---|---|---|---|---|---|---|")
        for effort, law, sites, expected in CELLS:
            for case in REVIEW:
                told = cell(pool, one_review, given.replicates, case, effort, law, sites, expected)
                print(f"| {case} | {effort} | {law} | {sites}, {expected} | {told} |", flush=True)
    if given.only != "review":
        print("\n| effort taken | pictures a day | law | sites, E | coverage (refused) | high/low | value/truth |")
        print("|---|---|---|---|---|---|---|")
        for law in ("runs", "single"):
            for a_day in (0.2, 2.0):
                for sites, expected in ((1, 60), (5, 60)):
                    for case in ("counted", "proven", "possible"):
                        told = cell(pool, one_effort, given.replicates, case, a_day, law, sites, expected)
                        print(f"| {case} | {a_day:g} | {law} | {sites}, {expected} | {told} |", flush=True)


if __name__ == "__main__":
    main()
