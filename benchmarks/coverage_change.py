"""How often the answer on change holds the truth: the tables of docs/models/change.md.

Run:  PYTHONPATH=src python benchmarks/coverage_change.py [--replicates 400] [--jobs 2] [--only steady]
(parts: steady, halving, short, compare)

A record is thrown as counts of sites and months under a known law and put through the whole answer, refusals and all
(`yearly.what_the_record_says`). *Lasting* is held against the true slope. *Happened* is held against the realised one:
the slope with the straight line through the luck of months and years that this record really had. A cell's standard
error is about one in a hundred at 400 replicates and 95 %.
"""

from __future__ import annotations

import argparse
import math
import os
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"  # more threads than one make small matrices slower

import numpy as np  # noqa: E402

from trod.errors import NotEnoughEvidence  # noqa: E402
from trod.findings import comparing, yearly  # noqa: E402
from trod.findings.localtime import Floats  # noqa: E402
from trod.findings.yearly import Record  # noqa: E402
from trod.findings.yearly_fit import Cells  # noqa: E402

HALVING = -math.log(2) / 3
NIGHT = 0.7  # share of the species' detections by night, where day and night are parted
SHAPES = {
    "6 × 24, 1": (6, 24, 1.0), "12 × 24, 0.3": (12, 24, 0.3), "12 × 24, 5": (12, 24, 5.0), "6 × 36, 1": (6, 36, 1.0),
    "12 × 36, 2": (12, 36, 2.0), "20 × 36, 5": (20, 36, 5.0), "12 × 60, 2": (12, 60, 2.0),
}  # fmt: skip


@dataclass
class Law:
    """One way in which the world may be. Shares and standard deviations are on the log scale."""

    k: float = math.inf  # gamma shape of each cell: overdispersed when small
    group: Callable[[np.random.Generator, int], Floats] | None = None
    luck: float = 0.0  # months
    goes_on: float = 0.6
    year: float = 0.0
    season: float = 0.6
    own_season: float = 0.0
    own_drift: float = 0.0
    uneven: bool = False
    coming: bool = False
    second_camera: bool = False
    unsorted: str = ""
    empty: float = 0.0
    allowance: float = 0.2  # what the answer is told of years


def herds(rng: np.random.Generator, n: int) -> Floats:
    """One to five records of one coming."""
    return rng.integers(1, 6, n).astype(float)


def lingers(rng: np.random.Generator, n: int) -> Floats:
    """An animal that stays about gives many detections: geometric, mean 6."""
    return rng.geometric(1 / 6, n).astype(float)


LAWS = {
    "independent": Law(),
    "overdispersed (k 1)": Law(k=1.0),
    "clumped groups of 1–5": Law(group=herds),
    "uneven effort, 1–31 days": Law(k=1.0, uneven=True),
    "sites come and go": Law(k=1.0, coming=True),
    "shared months, sd 0.3, goes on 0.6": Law(luck=0.3),
    "shared months + overdispersed": Law(luck=0.3, k=1.0),
    "years differ, sd 0.2": Law(year=0.2),
    "years differ, sd 0.2 + overdispersed": Law(year=0.2, k=1.0),
    "years differ, sd 0.4": Law(year=0.4, k=1.0),
    "years differ, sd 0.4, allowance set to 40 %": Law(year=0.4, k=1.0, allowance=0.4),
    "pure season, strong, by site": Law(season=1.5, own_season=0.7),
    "last quarter 80 % unsorted, by chance": Law(k=1.0, unsorted="chance"),
    "last quarter: day 35 %, night 0": Law(k=1.0, unsorted="day"),
    "last quarter 80 % unsorted, likely ones first, order unknown": Law(k=1.0, unsorted="odds unknown"),
    "last quarter 80 % unsorted, likely ones first, order known": Law(k=1.0, unsorted="odds known"),
    "two cameras at half the sites": Law(k=1.0, second_camera=True),
    "lingering animals": Law(group=lingers),
    "sites drift by themselves, sd 0.2": Law(k=1.0, own_drift=0.2),
    "a third of sites empty": Law(k=1.0, empty=1 / 3),
    "all at once": Law(k=1.0, luck=0.3, year=0.2, own_season=0.5, uneven=True, coming=True, group=herds),
}


@dataclass
class Thrown:
    """A record, what bounds it where the order of review is not known, and the realised slope."""

    records: list[Record]
    realised: float


def autoregressive(rng: np.random.Generator, sd: float, goes_on: float, months: int) -> Floats:
    out = np.empty(months)
    out[0] = rng.normal() * sd
    for p in range(1, months):
        out[p] = goes_on * out[p - 1] + math.sqrt(1 - goes_on**2) * sd * rng.normal()
    return out


def throw(rng: np.random.Generator, law: Law, sites: int, months: int, rate: float, slope: float) -> Thrown:
    """Counts of sites and months under the law. rate : detections of a middling site in 30 days."""
    p = np.arange(months)
    t = (p - (months - 1) / 2) / 12
    start = int(rng.integers(12))
    calendar = (start + p) % 12
    years = (start + p) // 12
    luck = autoregressive(rng, law.luck, law.goes_on, months) + law.year * rng.normal(size=years[-1] + 1)[years]
    level = rng.normal(size=sites)[:, None]
    turn = 2 * np.pi * calendar / 12
    phase = rng.uniform(0, 2 * np.pi)
    season = law.season * np.cos(turn - phase)[None, :] + law.own_season * (
        rng.normal(size=(sites, 1)) * np.cos(turn) + rng.normal(size=(sites, 1)) * np.sin(turn)
    )
    own = law.own_drift * rng.normal(size=(sites, 1))
    drift = (slope + own) * t[None, :]
    days = rng.uniform(20, 31, (sites, months)) * (rng.random((sites, months)) > 0.1)
    if law.uneven:
        days = 10 ** rng.uniform(0, 1.49, (sites, months)) * (days > 0)
    if law.coming:
        for i in range(sites):
            first, last = sorted(rng.integers(0, months, 2).tolist())
            if i % 4 < 2:  # the other half stays throughout
                days[i, : first if i % 4 == 0 else 0] = 0
                days[i, last if i % 4 == 1 else months :] = 0
    mean = rate * days / 30 * np.exp(level - 0.5 + season + drift + luck[None, :])
    mean *= rng.random((sites, 1)) >= law.empty
    unit = np.repeat(np.arange(sites)[:, None], months, axis=1)
    if law.second_camera:
        half = np.arange(sites) % 2 == 0
        later = p >= months // 2
        mean = np.where(half[:, None] & later[None, :], 1.8 * mean, mean)
        unit = np.where(half[:, None] & later[None, :], unit + sites, unit)
    if math.isfinite(law.k):
        mean = mean * rng.gamma(law.k, 1 / law.k, mean.shape)
    t_line = t - t.mean()
    realised = slope + float(t_line @ luck / (t_line @ t_line))
    if law.own_drift:  # that of these sites, each by what it adds to the record
        realised += float(np.average(own[:, 0], weights=mean.sum(axis=1)))
    if law.unsorted:
        return Thrown(unsorted(rng, law, mean, days, start), realised)
    counts = counted(rng, law, mean)
    return Thrown([record(unit, days, counts, start, sites)], realised)


def counted(rng: np.random.Generator, law: Law, mean: Floats) -> Floats:
    if law.group is None:
        return rng.poisson(mean).astype(float)
    size = float(law.group(np.random.default_rng(0), 10_000).mean())
    comings = rng.poisson(mean / size)
    whole = law.group(rng, int(comings.sum()))
    out = np.zeros(comings.size)
    np.add.at(out, np.repeat(np.arange(comings.size), comings.ravel()), whole)
    return out.reshape(comings.shape)


def record(unit: Floats, days: Floats, counts: Floats, start: int, sites: int, picked: Floats | None = None) -> Record:
    rows, months = days.shape
    here = days >= 1.0
    month = np.repeat(np.arange(months)[None, :], rows, axis=0)
    names, own = np.unique(unit[here], return_inverse=True)
    return Record(
        cells=Cells(unit=own, month=month[here], days=days[here], seen=counts[here], months=months, calendar=start),
        site=tuple(int(n) % sites for n in names),
        picked=None if picked is None else picked[here],
    )


def unsorted(rng: np.random.Generator, law: Law, mean: Floats, days: Floats, start: int) -> list[Record]:
    """Day and night apart; of the last three months a part is reviewed, by chance or the likely ones first."""
    sites, months = mean.shape
    mean = np.vstack([mean * (1 - NIGHT), mean * NIGHT])
    days = np.vstack([days, days])
    own = counted(rng, law, mean)
    other = rng.poisson(25.0 * (days > 0), mean.shape).astype(float)
    found, weight = own.copy(), np.ones(mean.shape)
    late = np.zeros(mean.shape, dtype=bool)
    late[:, -3:] = True
    for i, p in zip(*np.nonzero(late), strict=True):
        whole = int(own[i, p] + other[i, p])
        share = (0.35 if i < sites else 0.0) if law.unsorted == "day" else 0.2
        many = round(share * whole)
        odds = 3.0 if law.unsorted.startswith("odds") else 1.0
        keys = rng.exponential(size=whole)
        keys[: int(own[i, p])] /= odds
        found[i, p] = float(np.sum(np.argsort(keys)[:many] < own[i, p]))
        weight[i, p] = many / whole if whole else 1.0
    unit = np.repeat(np.arange(2 * sites)[:, None], months, axis=1)
    weighted = record(unit, days * weight, found, start, sites, late if law.unsorted == "odds known" else None)
    if law.unsorted != "odds unknown":
        return [weighted]
    return [weighted, record(unit, days, found, start, sites)]


def judged(args: tuple[str, str, float, int]) -> str:
    """One line of the table: a law and a shape, thrown `replicates` times."""
    law_name, shape_name, slope, replicates = args
    law = LAWS[law_name]
    sites, months, rate = SHAPES.get(shape_name) or SHORT[shape_name]
    rng = np.random.default_rng([*law_name.encode(), *shape_name.encode(), round(1000 - 1000 * slope)])
    told = held = held_realised = wrong = claimed = later = steady = 0
    refused: dict[str, int] = {}
    widths: list[float] = []
    for _ in range(replicates):
        thrown = throw(rng, law, sites, months, rate, slope)
        try:
            if len(thrown.records) > 1:
                found = yearly.bounded(thrown.records, law.allowance)
            else:
                found = yearly.what_the_record_says(thrown.records[0], law.allowance)
        except NotEnoughEvidence as trouble:
            rule = getattr(trouble, "rule", "other")
            refused[rule] = refused.get(rule, 0) + 1
            continue
        told += 1
        held += found.lasting.low <= slope <= found.lasting.high
        held_realised += found.happened.low <= thrown.realised <= found.happened.high
        claimed += found.claim == ("fewer" if slope < 0 else "more") if slope else 0
        wrong += (found.claim == "more" and slope <= 0) or (found.claim == "fewer" and slope >= 0)
        later += found.claim == "later fewer"
        steady += found.claim == "steady"
        widths.append(found.lasting.half_width)
    why = ", ".join(f"{rule} {100 * n / replicates:.0f}" for rule, n in sorted(refused.items())) or "–"
    if told < 0.05 * replicates:
        return f"| {law_name} | {shape_name} | – | – | 0 | – | {why} | – |"
    last = (
        f"{100 * claimed / replicates:.0f} / {100 * later / replicates:.0f}"
        if slope
        else f"{100 * steady / replicates:.0f}"
    )
    return (
        f"| {law_name} | {shape_name} | {100 * held_realised / told:.0f} | {100 * held / told:.0f} | "
        f"{100 * wrong / replicates:.1f} | {np.median(widths):.2f} | {why} | {last} |"
    )


SHORT = {"12 × 14, 5": (12, 14, 5.0), "12 × 20, 5": (12, 20, 5.0)}
HEAD = (
    "| law | sites × months, per site and month | *happened* holds the realised | *lasting* holds the true | "
    "false more or fewer | half-width | refused | {} |\n|---|---|---|---|---|---|---|---|"
)


def table(title: str, last: str, laws: list[str], shapes: list[str], slope: float, replicates: int, jobs: int) -> None:
    print(f"\n### {title}\n\n{HEAD.format(last)}", flush=True)
    asked = [(law, shape, slope, replicates) for law in laws for shape in shapes]
    with ProcessPoolExecutor(jobs) as pool:
        for line in pool.map(judged, asked):
            print(line, flush=True)


def steady(replicates: int, jobs: int) -> None:
    table("No change", "“about steady”", [*LAWS], list(SHAPES), 0.0, replicates, jobs)


def halving(replicates: int, jobs: int) -> None:
    laws = [
        "overdispersed (k 1)", "shared months + overdispersed", "years differ, sd 0.2 + overdispersed",
        "sites come and go", "last quarter 80 % unsorted, by chance", "all at once",
    ]  # fmt: skip
    table("A halving in three years", "“fewer” / “later fewer”", laws, list(SHAPES), HALVING, replicates, jobs)


def short(replicates: int, jobs: int) -> None:
    laws = ["independent", "pure season, strong, by site", "shared months, sd 0.3, goes on 0.6"]
    table("Too short", "“about steady”", laws, list(SHORT), 0.0, replicates, jobs)


def outlook() -> None:
    print("\n### Told beforehand, before a single picture: a halving in three years shown as lasting, % of records\n")
    print("| sites, detections of a site in a month | 2 years | 3 | 4 | 5 | 6 | 8 |\n|---|---|---|---|---|---|---|")
    for sites, rate in ((6, 1.0), (12, 0.3), (12, 2.0), (20, 5.0)):
        told = [
            f"{100 * yearly.outlook(years=years, sites=sites, seen_a_month=rate, allowance=0.2):.0f}"
            for years in (2, 3, 4, 5, 6, 8)
        ]
        print(f"| {sites}, {rate:g} | {' | '.join(told)} |", flush=True)


def compared(args: tuple[int, float, str, float, int]) -> str:
    """Two periods of the same sites, spoken of as sites like these: gamma change of each site, shape 4."""
    sites, expected, effort, ratio, replicates = args
    rng = np.random.default_rng([sites, round(expected), *effort.encode(), round(ratio)])
    held = told = false = 0
    wide: list[float] = []
    for _ in range(replicates):
        days = rng.uniform(50, 70, (2, sites)) if effort == "even" else 10 ** rng.uniform(0.5, 2.3, (2, sites))
        level = rng.gamma(1.0, 1.0, sites) + 1e-9
        level *= expected / float(level @ days[1])
        late = rng.poisson(ratio * level * days[0] * rng.gamma(4, 1 / 4, sites))
        early = rng.poisson(level * days[1])
        try:
            found = comparing.like_these(late, days[0], early, days[1])
        except NotEnoughEvidence:
            continue
        told += 1
        held += found.interval.low <= ratio <= found.interval.high
        false += ratio == 1 and not found.interval.low <= 1 <= found.interval.high
        wide.append(found.interval.high / found.interval.low)
    if told < 0.02 * replicates:
        return f"| {sites} | {effort} | {expected:g} | {ratio:g} | – | – | – | 100 |"
    false_told = f"{100 * false / told:.0f}" if ratio == 1 else "–"
    return (
        f"| {sites} | {effort} | {expected:g} | {ratio:g} | {100 * held / told:.0f} | {false_told} | "
        f"{np.median(wide):.1f} | {100 - 100 * told / replicates:.0f} |"
    )


def compare(replicates: int, jobs: int) -> None:
    print("\n### Two periods of the same sites, as sites like these\n")
    print("| sites | effort | E in the earlier | true ratio | coverage | false change | high/low | refused |")
    print("|---|---|---|---|---|---|---|---|")
    asked = [
        (sites, expected, effort, ratio, replicates)
        for sites in (5, 12, 40) for expected in (15.0, 60.0, 300.0)
        for effort in ("even", "mixed") for ratio in (1.0, 3.0)
    ]  # fmt: skip
    with ProcessPoolExecutor(jobs) as pool:
        for line in pool.map(compared, asked):
            print(line, flush=True)


PARTS = {"steady": steady, "halving": halving, "short": short, "compare": compare}

if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--replicates", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--only", choices=PARTS)
    chosen = parser.parse_args()
    began = time.monotonic()
    for name, part in PARTS.items():
        if chosen.only in (None, name):
            part(chosen.replicates, chosen.jobs)
    if chosen.only is None:
        outlook()
    print(f"\n{time.monotonic() - began:.0f} s with {chosen.jobs} processes")
