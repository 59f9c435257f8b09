"""How often the intervals of rates hold the truth: the tables of docs/models/rates.md.

Run:  PYTHONPATH=src python benchmarks/rates.py [--replicates 400] [--only here|alike|none|ratio]

Detections are thrown day by day and thinned by how long a camera watched that day. Laws that the method's constants
were chosen on: single, runs, weeks. Laws that they were not: groups (Neyman's type A), lognormal (a slow wave that
lasts for weeks), spells (the animals are there for some weeks and gone for some). A battery's standard error is about
one in a hundred at 400 replicates and 95 %.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable

import numpy as np

from trod.errors import NotEnoughEvidence
from trod.findings import likesites, rates, runs
from trod.findings.localtime import Floats

Law = Callable[[np.random.Generator, float, int], Floats]
WARM = 35  # days thrown before the first, so that runs and spells are under way


def single(rng: np.random.Generator, per_day: float, days: int) -> Floats:
    return rng.poisson(per_day, days).astype(float)


def in_runs(rng: np.random.Generator, per_day: float, days: int) -> Floats:
    """Runs begin at random, hold geometric numbers of detections, mean 4, strewn over 5 days."""
    begins = np.repeat(np.arange(days), rng.poisson(per_day / 4, days))
    at = np.repeat(begins, rng.geometric(1 / 4, len(begins)))
    at = at + rng.integers(0, 5, len(at))
    return np.bincount(at[at < days], minlength=days).astype(float)


def by_week(rng: np.random.Generator, per_day: float, days: int) -> Floats:
    """Every week has a level of its own, gamma with shape ½; weeks begin on any day."""
    level = rng.gamma(0.5, 2.0, days // 7 + 2)
    return rng.poisson(per_day * level[(np.arange(days) + rng.integers(7)) // 7]).astype(float)


def groups(rng: np.random.Generator, per_day: float, days: int) -> Floats:
    """Neyman's type A: groups at random, each a Poisson number of detections, mean 3, on one day."""
    return rng.poisson(3.0 * rng.poisson(per_day / 3.0, days)).astype(float)


def lognormal(rng: np.random.Generator, per_day: float, days: int) -> Floats:
    """The level wanders: its logarithm is an autoregression by days, standard deviation 1, e-fold in 14 days."""
    keep = math.exp(-1 / 14)
    steps = rng.normal(size=days)
    wave = np.empty(days)
    wave[0] = steps[0]
    for day in range(1, days):
        wave[day] = keep * wave[day - 1] + math.sqrt(1 - keep**2) * steps[day]
    return rng.poisson(per_day * np.exp(wave - 0.5)).astype(float)


def spells(rng: np.random.Generator, per_day: float, days: int) -> Floats:
    """Zero-inflated in time: present for 14 days on average, then away for 28."""
    there = np.empty(days, dtype=bool)
    there[0] = rng.random() < 1 / 3
    luck = rng.random(days)
    for day in range(1, days):
        leaves = luck[day] < (1 / 14 if there[day - 1] else 1 / 28)
        there[day] = there[day - 1] != leaves
    return rng.poisson(3 * per_day * there).astype(float)


LAWS: dict[str, Law] = {
    "single": single, "runs": in_runs, "weeks": by_week, "groups": groups, "lognormal": lognormal, "spells": spells,
}  # fmt: skip


def even(rng: np.random.Generator, sites: int) -> list[Floats]:
    return [np.ones(60) for _ in range(sites)]


def minutes(rng: np.random.Generator, sites: int) -> list[Floats]:
    """A quarter of the sites (at least one more) watched for 15 minutes only."""
    return [np.ones(60) for _ in range(sites)] + [np.array([0.0104]) for _ in range(max(1, sites // 3))]


def mixed(rng: np.random.Generator, sites: int) -> list[Floats]:
    """From a minute and a half to 400 days, evenly on a scale of tens; one has 30 days or more."""
    return [watch(10 ** rng.uniform(1.5 if n == 0 else -3, 2.6)) for n in range(sites)]


def coming_and_going(rng: np.random.Generator, sites: int) -> list[Floats]:
    """Within 180 days each begins and ends when it will, with holes: a third of its weeks are not watched."""
    out = []
    for _ in range(sites):
        days = np.ones(180)
        first, last = sorted(rng.integers(0, 180, 2).tolist())
        last = max(last, first + 21)
        days[:first] = 0
        days[last:] = 0
        days[(rng.random(27) < 1 / 3)[np.arange(180) // 7]] = 0
        if not days.any():
            days[first : first + 7] = 1
        out.append(np.trim_zeros(days))
    return out


def watch(days: float) -> Floats:
    whole = int(days)
    rest = days - whole
    return np.array([1.0] * whole + ([rest] if rest > 0 else []))


EFFORTS = {"even": even, "15 minutes": minutes, "mixed": mixed, "coming and going": coming_and_going}


def seen(rng: np.random.Generator, law: Law, per_day: float, watched: Floats) -> Floats:
    """Detections recorded on each day of a site."""
    came = law(rng, per_day, len(watched) + WARM)[WARM:]
    return rng.binomial(came.astype(int), watched).astype(float)


def weeks(daily: Floats) -> list[float]:
    return np.add.reduceat(daily, np.arange(0, len(daily), 7)).tolist()


def thrown(
    rng: np.random.Generator, law: Law, expected: float, watched: list[Floats]
) -> tuple[list[Floats], float, float]:
    """Days of detections at sites that differ (gamma, shape 1), the expected total and the effort."""
    level = rng.gamma(1.0, 1.0, len(watched)) + 1e-9
    effort = np.array([w.sum() for w in watched])
    level *= expected / float(level @ effort)
    return (
        [seen(rng, law, each, w) for each, w in zip(level, watched, strict=True)],
        expected,
        float(effort.sum()),
    )


def here(replicates: int) -> None:
    print("\n## These sites in this time: coverage % (refused %) by sites 1/2/4/12\n")
    print("| effort | law | E | coverage | Garwood | median high/low | worst high/count |")
    print("|---|---|---|---|---|---|---|")
    for effort_name, effort in EFFORTS.items():
        for law_name, law in LAWS.items():
            for expected in (4, 15, 60, 300):
                cover, garwood, ratios, worst = [], [], [], 0.0
                for sites in (1, 2, 4, 12):
                    rng = np.random.default_rng([sites, expected, *effort_name.encode(), *law_name.encode()])
                    held = held_exact = told = 0
                    wide = []
                    for _ in range(replicates):
                        watched = effort(rng, sites)
                        daily, truth, days = thrown(rng, law, expected, watched)
                        found = rates.rate(
                            [d.sum() for d in daily],
                            [w.sum() for w in watched],
                            week_counts=[weeks(d) for d in daily],
                            week_efforts=[weeks(w) for w in watched],
                        )
                        assert found.shown is not None and found.exact is not None
                        true = 100 * truth / days
                        held_exact += found.exact.low <= true <= found.exact.high
                        if found.shown.kind == rates.SINGLY:
                            continue
                        told += 1
                        held += found.shown.low <= true <= found.shown.high
                        if found.count:
                            wide.append(found.shown.high / found.shown.low)
                            worst = max(worst, found.shown.high * days / 100 / found.count)
                    refused = 100 - round(100 * told / replicates)
                    cover.append(f"{100 * held / told:.0f}" + (f" ({refused})" if refused else "") if told else "–")
                    garwood.append(f"{100 * held_exact / replicates:.0f}")
                    ratios.append(f"{np.median(wide):.1f}" if wide else "–")
                print(
                    f"| {effort_name} | {law_name} | {expected} | {' / '.join(cover)} | {' / '.join(garwood)} | "
                    f"{' / '.join(ratios)} | {worst:.0f} |",
                    flush=True,
                )


def levels(rng: np.random.Generator, kind: str, sites: int) -> Floats:
    """Rates of sites with mean 1."""
    if kind == "lognormal sd 1":
        return np.exp(rng.normal(size=sites) - 0.5)
    if kind == "a third of sites empty":
        return rng.gamma(2.0, 0.75, sites) * (rng.random(sites) >= 1 / 3)
    shape = float(kind.split()[-1])
    return rng.gamma(shape, 1 / shape, sites)


def alike(replicates: int) -> None:
    print("\n## Sites like these: coverage % of those told (told %), median high/estimate\n")
    print("| sites differ by | effort | E | 3 | 5 | 12 | 40 |")
    print("|---|---|---|---|---|---|---|")
    for kind in ("gamma 0.3", "gamma 1", "gamma 5", "lognormal sd 1", "a third of sites empty"):
        for effort_name in ("even", "mixed"):
            for expected in (60, 300):
                batteries = []
                for sites in (3, 5, 12, 40):
                    rng = np.random.default_rng([sites, expected, *effort_name.encode(), *kind.encode()])
                    held = told = 0
                    wide = []
                    for _ in range(replicates):
                        days = np.array([w.sum() for w in EFFORTS[effort_name](rng, sites)])
                        mean = expected / float(days.sum())
                        counts = rng.poisson(mean * levels(rng, kind, sites) * days)
                        try:
                            low, high = likesites.limits(counts, days, 0.95)
                        except NotEnoughEvidence:
                            continue
                        told += 1
                        held += low <= mean <= high
                        wide.append(high / likesites.fit(counts, days).mean)
                    batteries.append(
                        f"{100 * held / told:.0f} ({100 * told / replicates:.0f}), {np.median(wide):.1f}"
                        if told >= 0.02 * replicates
                        else "refused"
                    )
                print(f"| {kind} | {effort_name} | {expected} | {' | '.join(batteries)} |", flush=True)


def none(replicates: int) -> None:
    print("\n## None seen: lowest coverage % over expected counts of 3 to 60, 60 days at one site\n")
    print("| law | 3 detections (single) | usual runs (φ 4) | φ from 15 elsewhere | from 60 |")
    print("|---|---|---|---|---|")
    for law_name, law in LAWS.items():
        rng = np.random.default_rng([7, *law_name.encode()])
        lowest = [1.0] * 4
        for expected in (3.1, 5, 8, 12.1, 18, 27, 40, 60):
            counts = [float(seen(rng, law, expected / 60, np.ones(60)).sum()) for _ in range(replicates)]
            bare = sum(count == 0 for count in counts) / replicates
            for n, elsewhere in enumerate((None, None, 15, 60)):
                wrong = 0.0
                if n == 0:
                    wrong = bare
                elif elsewhere is None:
                    wrong = bare * (runs.none_seen(None, 0.95) < expected)
                else:
                    short = 0
                    for _ in range(replicates // 4):
                        daily, *_ = thrown(rng, law, elsewhere, even(rng, 4))
                        known = runs.scatter([weeks(d) for d in daily], [weeks(np.ones(60))] * 4)
                        short += runs.none_seen(known, 0.95) < expected
                    wrong = bare * short / (replicates // 4)
                lowest[n] = min(lowest[n], 1 - wrong)
        print(f"| {law_name} | {' | '.join(f'{100 * share:.0f}' for share in lowest)} |", flush=True)


def ratio(replicates: int) -> None:
    print("\n## Two years of one site: coverage % of the ratio, told of those; false change %\n")
    print("| law | E | true ratio 1 | exact, ratio 1 | true ratio 3 | false change, runs allowed for | exact |")
    print("|---|---|---|---|---|---|---|")
    for law_name, law in LAWS.items():
        for expected in (15, 60, 300):
            batteries: dict[str, str] = {}
            for true in (1, 3):
                rng = np.random.default_rng([true, expected, *law_name.encode()])
                held = held_exact = told = false = false_exact = 0
                for _ in range(replicates):
                    a = seen(rng, law, true * expected / 60, np.ones(60))
                    b = seen(rng, law, expected / 60, np.ones(60))
                    days = [weeks(np.ones(60))] * 2
                    if a.sum() + b.sum() == 0:
                        continue
                    exact = rates.ratio_of_rates(
                        count_a=int(a.sum()), effort_a=60, count_b=int(b.sum()), effort_b=60
                    ).interval
                    held_exact += exact.low <= true <= exact.high
                    false_exact += not exact.low <= 1 <= exact.high
                    try:
                        _, found = rates.ratio_by_runs(
                            count_a=int(a.sum()), effort_a=60, count_b=int(b.sum()), effort_b=60,
                            scatter=runs.scatter([weeks(a), weeks(b)], days),
                        )  # fmt: skip
                    except NotEnoughEvidence:
                        continue
                    told += 1
                    held += found.low <= true <= found.high
                    false += not found.low <= 1 <= found.high
                batteries[f"{true}"] = f"{100 * held / told:.0f} ({100 * told / replicates:.0f})"
                batteries[f"{true} exact"] = f"{100 * held_exact / replicates:.0f}"
                if true == 1:
                    batteries["false"] = f"{100 * false / told:.0f}"
                    batteries["false exact"] = f"{100 * false_exact / replicates:.0f}"
            print(
                f"| {law_name} | {expected} | {batteries['1']} | {batteries['1 exact']} | {batteries['3']} | "
                f"{batteries['false']} | {batteries['false exact']} |",
                flush=True,
            )


PARTS = {"here": here, "alike": alike, "none": none, "ratio": ratio}

if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--replicates", type=int, default=400)
    parser.add_argument("--only", choices=PARTS)
    chosen = parser.parse_args()
    began = time.process_time()
    for name, part in PARTS.items():
        if chosen.only in (None, name):
            part(chosen.replicates)
    print(f"\n{time.process_time() - began:.0f} s of processor time")
