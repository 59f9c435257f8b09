"""How often answers hold the truth, from sequences to the answer, under one list of laws: docs/models/laws.md.

Run:  PYTHONPATH=src python benchmarks/coverage_answers.py [--replicates 400] [--only rate|periods|sites|hours|overlap]

One world for all questions. Animals come to sites that differ (gamma, shape 1) under a law of `LAWS`; what cameras
record goes the whole way, from sequences to the facts that page, command and report tell. Change has its own tables
(benchmarks/coverage_change.py) under the same laws. A cell's standard error is about one in a hundred at 400
replicates and 95 %.

Truth is what was to be expected at these sites in this time: the luck of months and years that this record really had
is part of it, how animals run within it is not.
"""

from __future__ import annotations

import argparse
import math
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402

from trod.errors import NotEnoughEvidence  # noqa: E402
from trod.findings import activity, asking, circular, rates, shared_hours, two_sides  # noqa: E402
from trod.findings.day_curve import AT, AT_H, POINTS  # noqa: E402
from trod.findings.localtime import Floats  # noqa: E402
from trod.findings.observations import Deployment, Evidence, Filter, Observation, Reserve, UnseenSequence  # noqa: E402
from trod.findings.reviewing import Reviewed  # noqa: E402
from trod.telling.overlap import DIFFER_P  # noqa: E402

FIRST = date(2025, 1, 1)
BEGIN_S, DAY_S = datetime(2025, 1, 1, tzinfo=UTC).timestamp(), 86_400.0
YEAR = 365
RESERVE = Reserve(name="Hollin Fold (invented)", latitude_deg=None, longitude_deg=None, zone="UTC")
INDEPENDENCE_MIN, APART_H = 30.0, 0.7  # detections of one coming lie so far apart
SEES = 0.6  # share of what comes that one camera records, where two hang
Hours = tuple[tuple[float, float, float], ...]  # (share, hour, κ) of each busy time
DUSKY: Hours = ((0.7, 19.0, 4.0), (0.3, 6.0, 4.0))
LATER: Hours = ((0.7, 22.0, 4.0), (0.3, 9.0, 4.0))


@dataclass(frozen=True)
class Law:
    """One way in which the world may be; standard deviations are on the log scale.

    k : gamma shape of a site's week. size : detections of one coming. effort : which days are watched. luck : of months
    shared by all sites, that goes on by 0.6. year : of years. season : how strong. unsorted : the last quarter is 80 %
    unreviewed, by chance. second : at half the sites a second camera from half of the record on.
    """

    k: float = math.inf
    size: Callable[[np.random.Generator, int], Floats] | None = None
    effort: str = "whole"
    luck: float = 0.0
    year: float = 0.0
    season: float = 0.0
    unsorted: bool = False
    second: bool = False


def herds(rng: np.random.Generator, n: int) -> Floats:
    """One to five detections of one coming."""
    return rng.integers(1, 6, n)


def lingers(rng: np.random.Generator, n: int) -> Floats:
    """Geometric, mean 6, at most 30: an animal that stays about."""
    return np.minimum(rng.geometric(1 / 6, n), 30)


LAWS = {
    "independent": Law(),
    "overdispersed (weeks, k 1)": Law(k=1.0),
    "clumped groups of 1–5": Law(size=herds),
    "uneven effort, 30–365 days": Law(effort="uneven"),
    "sites come and go": Law(effort="coming"),
    "shared months, sd 0.3, goes on 0.6": Law(luck=0.3),
    "years differ, sd 0.2": Law(year=0.2),
    "pure season": Law(season=1.5),
    "last quarter 80 % unsorted": Law(unsorted=True),
    "two cameras at half the sites": Law(second=True),
    "lingering animals": Law(size=lingers),
    "all at once": Law(
        k=1.0, size=herds, effort="coming", luck=0.3, year=0.2, season=0.7, unsorted=True, second=True
    ),
}  # fmt: skip


@dataclass
class World:
    """Evidence, and by site and day what was to be expected of the asked kind as recorded; watched : (sites, days)."""

    evidence: Evidence
    expected: Floats
    watched: Floats


def watched_days(rng: np.random.Generator, kind: str, sites: int, days: int) -> Floats:
    """(sites, days) of 0 and 1."""
    out = np.ones((sites, days))
    for own in out:
        if kind == "uneven":
            for start in range(0, days, YEAR):
                own[start + int(10 ** rng.uniform(1.48, math.log10(YEAR))) : start + YEAR] = 0
        elif kind == "coming":
            first, last = sorted(rng.integers(0, days, 2).tolist())
            own[:first] = 0
            own[max(last, first + 60) :] = 0
            own[np.repeat(rng.random(days // 7 + 1) < 1 / 3, 7)[:days]] = 0
        if not own.any():
            own[:60] = 1
    return out


def luck_of(rng: np.random.Generator, law: Law, days: int) -> Floats:
    """(days,) factor that all sites share: months, years, season."""
    months = days // 30 + 1
    of_month = np.empty(months)
    of_month[0] = rng.normal()
    for m in range(1, months):
        of_month[m] = 0.6 * of_month[m - 1] + 0.8 * rng.normal()
    day = np.arange(days)
    of_year = law.year * rng.normal(size=days // YEAR + 1)[day // YEAR]
    season = law.season * np.cos(2 * np.pi * day / YEAR - rng.uniform(0, 2 * np.pi))
    return np.asarray(np.exp(law.luck * of_month[day // 30] + of_year + season), dtype=float)


def draw_hours(rng: np.random.Generator, hours: Hours, n: int) -> Floats:
    which = rng.choice(len(hours), n, p=[share for share, _, _ in hours])
    middle, kappa = (np.array([one[k] for one in hours])[which] for k in (1, 2))
    return circular.hours(rng.vonmises(circular.angles(middle), kappa))


def comings(
    rng: np.random.Generator, law: Law, mean: Floats, hours: Hours
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Site, instant [h since the beginning] of every detection, from the mean number of each site and day."""
    size = float(law.size(np.random.default_rng(0), 20_000).mean()) if law.size else 1.0
    by_day = mean / size
    if math.isfinite(law.k):
        weeks = rng.gamma(law.k, 1 / law.k, (len(mean), mean.shape[1] // 7 + 2))
        by_day = by_day * weeks[:, (np.arange(mean.shape[1]) + int(rng.integers(7))) // 7]
    number = rng.poisson(by_day)
    site, day = np.nonzero(number)
    site, day = np.repeat(site, number[site, day]), np.repeat(day, number[site, day])
    many = law.size(rng, len(site)) if law.size else np.ones(len(site), dtype=int)
    who = np.repeat(np.arange(len(site)), many)
    step = np.arange(len(who)) - np.repeat(np.cumsum(many) - many, many)
    start = 24.0 * day + draw_hours(rng, hours, len(site))
    return site[who], start[who] + (step - (many[who] - 1) / 2) * APART_H, who


def smeared(law: Law, hours: Hours) -> Floats:
    """The law of single detections over the day, per hour on the grid; a coming of several smears it."""
    if law.size is None:
        out = sum(share * circular.von_mises(AT, float(circular.angles(hour)), kappa) for share, hour, kappa in hours)
        return np.asarray(out * circular.TURN / 24, dtype=float)
    rng = np.random.default_rng(5)
    _, at, _ = comings(rng, Law(size=law.size), np.full((1, 1000), 2000.0), hours)
    grid = np.bincount((np.mod(at, 24) * POINTS / 24).astype(int) % POINTS, minlength=POINTS).astype(float)
    grid = sum(np.roll(grid, k) for k in range(-2, 3)) / 5
    return np.asarray(grid / grid.sum() * POINTS / 24, dtype=float)


def world(
    rng: np.random.Generator,
    law: Law,
    *,
    sites: int,
    years: int,
    expected: float,
    ratio: float = 1.0,
    level: Floats | None = None,
    other: tuple[float, Hours] | None = None,
) -> World:
    """A record thrown under a law. expected : detections of the asked kind in all that is watched, without luck.

    ratio : what the second year's rate is of the first's. level : of each site; without it a gamma. other : how many
    of a second kind, and its hours.
    """
    days = years * YEAR
    watched = watched_days(rng, law.effort, sites, days)
    seen = np.ones((sites, days))
    if law.second:
        seen[:] = SEES
        seen[::2, days // 2 :] = 1 - (1 - SEES) ** 2
    own = rng.gamma(1.0, 1.0, sites) + 0.01 if level is None else level
    shape = np.where(np.arange(days) < YEAR, 1.0, ratio)[None, :] * luck_of(rng, law, days)[None, :]
    base = own[:, None] * np.ones((1, days))
    scale = expected / float((base * watched * seen).sum())
    mean = scale * base * shape
    kinds: list[tuple[str, Floats, Hours]] = [("deer", mean, DUSKY)]
    if other:
        kinds.append(("fox", mean * other[0], other[1]))
    if law.unsorted:
        kinds.append(("hare", np.full((sites, days), 0.25), ((1.0, 13.0, 2.0),)))
    observations: list[Observation] = []
    waits: list[UnseenSequence] = []
    for kind, of, hours in kinds:
        site, at, _ = comings(rng, law if kind != "hare" else Law(), of, hours)
        day = np.floor(at / 24).astype(int)
        inside = (day >= 0) & (day < days)
        inside[inside] = watched[site[inside], day[inside]] > 0
        for n in np.flatnonzero(inside).tolist():
            late = law.unsorted and day[n] >= days - YEAR // 4
            two = law.second and site[n] % 2 == 0 and day[n] >= days // 2
            if law.second:
                cameras = [c for c in ((1, 2) if two else (1,)) if rng.random() < SEES]
            else:
                cameras = [1]
            for camera in cameras:
                key = f"{kind} {n} {camera}"
                utc_s = BEGIN_S + 3600 * float(at[n]) + 20 * (camera - 1)
                if late and rng.random() >= 0.2:
                    waits.append(UnseenSequence(sequence=key, site=f"s{site[n]}", utc_s=utc_s))
                    continue
                observations.append(
                    Observation(
                        sequence=key, deployment=f"s{site[n]}-{camera}", site=f"s{site[n]}", utc_s=utc_s, species=kind,
                        picture=key,
                    )
                )  # fmt: skip
    deployments = [
        Deployment(slug=f"s{i}-1", site=f"s{i}", camera="one", watched=_spans(watched[i])) for i in range(sites)
    ]
    if law.second:
        late_half = watched * (np.arange(days) >= days // 2)[None, :]
        deployments += [
            Deployment(slug=f"s{i}-2", site=f"s{i}", camera="two", watched=_spans(late_half[i]))
            for i in range(0, sites, 2)
            if late_half[i].any()
        ]
    evidence = Evidence(
        reserve=RESERVE, deployments=tuple(deployments), observations=tuple(observations), unseen=tuple(waits),
        review_order="time",
    )  # fmt: skip
    return World(evidence, mean * watched * seen, watched)


def _spans(days: Floats) -> tuple[tuple[float, float], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], days, [0.0]])))
    return tuple((BEGIN_S + DAY_S * float(a), BEGIN_S + DAY_S * float(b)) for a, b in edges.reshape(-1, 2))


def asked(species: str = "deer", *, sites: tuple[str, ...] = (), year: int | None = None) -> Filter:
    first = last = None
    if year is not None:
        first, last = FIRST + timedelta(days=YEAR * year), FIRST + timedelta(days=YEAR * (year + 1) - 1)
    return Filter(
        species=(species,), sites=sites, first=first, last=last, independence_min=INDEPENDENCE_MIN,
        species_names={species: species},
    )  # fmt: skip


class Tally:
    """What came of one cell."""

    def __init__(self, replicates: int) -> None:
        self.replicates = replicates
        self.told = self.refused = self.held = self.false = self.claimed = 0
        self.width: list[float] = []
        self.value: list[float] = []

    def percent(self, many: float, of: int | None = None) -> str:
        of = self.told if of is None else of
        return f"{100 * many / of:.0f}" if of >= 0.05 * self.replicates else "–"

    def median(self, of: list[float]) -> str:
        return f"{np.median(of):.2f}" if len(of) >= 0.05 * self.replicates else "–"


def _rng(*words: object) -> np.random.Generator:
    return np.random.default_rng(list(" ".join(map(str, words)).encode()))


def rate(replicates: int) -> None:
    print("\n### What comes here: the rate at these sites in this time\n")
    print("| law | sites, detections | refused % | holds the truth % | high/low | value/truth |\n" + "|---" * 6 + "|")
    for law_name, law in LAWS.items():
        for sites, expected in ((4, 15), (4, 60), (12, 60)):
            rng, t = _rng("rate", law_name, sites, expected), Tally(replicates)
            for _ in range(replicates):
                made = world(rng, law, sites=sites, years=1, expected=expected)
                selection, found, worked = asking.prepare(made.evidence, asked())
                told = asking.rate_of(selection, worked, found, Reviewed(selection), of=frozenset({"deer"}))
                truth = 100 * float(made.expected.sum()) / float(made.watched.sum())
                if told.shown is None or told.value is None or told.shown.kind == rates.SINGLY:
                    t.refused += 1
                    continue
                t.told += 1
                t.held += told.shown.low <= truth <= told.shown.high
                t.value.append(told.value / truth)
                if told.shown.low > 0:
                    t.width.append(told.shown.high / told.shown.low)
            bias = f"{np.mean(t.value):.2f}" if t.value else "–"
            print(
                f"| {law_name} | {sites}, {expected} | {100 * t.refused / replicates:.0f} | {t.percent(t.held)} | "
                f"{t.median(t.width)} | {bias} |",
                flush=True,
            )


def _compared(first: Filter, second: Filter, made: World, truth: float, t: Tally) -> None:
    try:
        here = two_sides.compare(made.evidence, first, second).here
    except NotEnoughEvidence:
        here = None
    if here is None:
        t.refused += 1
        return
    low, high = here.interval.low, here.interval.high
    t.told += 1
    t.held += low <= truth <= high
    t.claimed += here.differs
    t.false += (low > 1 and truth <= 1) or (high < 1 and truth >= 1)
    if low > 0 and math.isfinite(high):
        t.width.append(high / low)


def periods(replicates: int) -> None:
    print("\n### Two years of six sites, 60 detections expected in both together\n")
    head = "| law | true ratio | refused % | holds the truth % | said to differ % | falsely % | high/low |"
    print(head + "\n" + "|---" * 7 + "|")
    for law_name, law in LAWS.items():
        for ratio in (1.0, 3.0):
            rng, t = _rng("periods", law_name, ratio), Tally(replicates)
            for _ in range(replicates):
                made = world(rng, law, sites=6, years=2, expected=60, ratio=ratio)
                later, earlier = (_per_day(made, year) for year in (1, 0))
                truth = later / earlier if law.luck or law.year else ratio
                _compared(asked(year=1), asked(year=0), made, truth, t)
            name = f"{ratio:g}" + (" × luck" if law.luck or law.year else "")
            print(
                f"| {law_name} | {name} | {100 * t.refused / replicates:.0f} | {t.percent(t.held)} | "
                f"{t.percent(t.claimed)} | {t.percent(t.false)} | {t.median(t.width)} |",
                flush=True,
            )


def _per_day(made: World, year: int) -> float:
    """What was to be expected of a site-day of that year, each site as it is watched in both years."""
    own = slice(YEAR * year, YEAR * (year + 1))
    days = [made.watched[:, YEAR * n : YEAR * (n + 1)].sum(axis=1) for n in (0, 1)]
    both = (days[0] > 0) & (days[1] > 0)
    per = made.expected[:, own].sum(axis=1)[both] / days[year][both]
    weight = days[0][both] * days[1][both] / (days[0][both] + days[1][both])
    return float(per @ weight) if both.any() else math.nan


def sites(replicates: int) -> None:
    print("\n### Two sites in one year, 60 detections expected in both together\n")
    head = "| law | true ratio | refused % | holds the truth % | said to differ % | falsely % | high/low |"
    print(head + "\n" + "|---" * 7 + "|")
    for law_name, law in LAWS.items():
        if law_name == "two cameras at half the sites":
            continue  # a second camera on one side alone is no fair question
        law = replace(law, second=False)
        for ratio in (1.0, 3.0):
            rng, t = _rng("sites", law_name, ratio), Tally(replicates)
            for _ in range(replicates):
                made = world(rng, law, sites=2, years=1, expected=60, level=np.array([ratio, 1.0]))
                _compared(asked(sites=("s0",)), asked(sites=("s1",)), made, ratio, t)
            print(
                f"| {law_name} | {ratio:g} | {100 * t.refused / replicates:.0f} | {t.percent(t.held)} | "
                f"{t.percent(t.claimed)} | {t.percent(t.false)} | {t.median(t.width)} |",
                flush=True,
            )


def hours(replicates: int) -> None:
    print("\n### When do they come: six sites, a year, busy at 19 h and at 6 h\n")
    print("| law | detections | refused % | band % | at peaks % | called uneven % | scatter |\n" + "|---" * 7 + "|")
    for law_name, law in LAWS.items():
        truth = smeared(law, DUSKY)
        for expected in (150,):
            rng, t = _rng("hours", law_name, expected), Tally(replicates)
            band, tops, phi = [], [], []
            for _ in range(replicates):
                made = world(rng, law, sites=6, years=1, expected=expected)
                try:
                    selection, found, _ = asking.prepare(made.evidence, asked())
                    c = activity.activity(selection, found).by_clock
                except NotEnoughEvidence:
                    t.refused += 1
                    continue
                t.told += 1
                own = truth / (truth[c.watched].sum() * 24 / POINTS)
                inside = (c.low <= own) & (own <= c.high)
                band.append(float(inside[c.watched].mean()))
                tops.append(float(inside[c.watched & (own > own.max() / 2)].mean()))
                t.claimed += c.even_p < 0.05
                phi.append(c.scatter)
            told = t.told >= 0.05 * replicates
            print(
                f"| {law_name} | {expected} | {100 * t.refused / replicates:.0f} | "
                + (f"{100 * np.mean(band):.0f} | {100 * np.mean(tops):.0f}" if told else "– | –")
                + f" | {t.percent(t.claimed)} | {np.median(phi) if told else math.nan:.1f} |",
                flush=True,
            )


def overlap(replicates: int) -> None:
    print("\n### Do two kinds share their hours: six sites, a year, so many detections of each expected\n")
    head = "| law | detections | true | refused % | holds the truth % | said to differ % | mean width |"
    print(head + "\n" + "|---" * 7 + "|")
    for law_name, law in LAWS.items():
        for other in (DUSKY, LATER):
            truth = 1.0 if other is DUSKY else float(np.minimum(smeared(law, DUSKY), smeared(law, other)).mean() * 24)
            for expected in (150,):
                rng, t = _rng("overlap", law_name, truth, expected), Tally(replicates)
                for _ in range(replicates):
                    made = world(rng, law, sites=6, years=1, expected=expected, other=(1.0, other))
                    told = shared_hours.shared_hours(made.evidence, asked("deer"), asked("fox")).overlapped
                    if told is None:
                        t.refused += 1
                        continue
                    t.told += 1
                    t.held += told.interval.low <= truth <= told.interval.high
                    t.claimed += told.p < DIFFER_P
                    t.width.append(told.interval.high - told.interval.low)
                wide = f"{np.mean(t.width):.2f}" if t.told >= 0.05 * replicates else "–"
                print(
                    f"| {law_name} | {expected} | {truth:.2f} | {100 * t.refused / replicates:.0f} | "
                    f"{t.percent(t.held)} | {t.percent(t.claimed)} | {wide} |",
                    flush=True,
                )


PARTS = {"rate": rate, "periods": periods, "sites": sites, "overlap": overlap, "hours": hours}
assert len(AT_H) == POINTS


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0] if __doc__ else "")
    parser.add_argument("--replicates", type=int, default=400)
    parser.add_argument("--only", choices=PARTS, nargs="*")
    given = parser.parse_args()
    for part_name, part in PARTS.items():
        if not given.only or part_name in given.only:
            began = time.process_time()
            part(given.replicates)
            print(f"\n{time.process_time() - began:.0f} s of processor time", flush=True)


if __name__ == "__main__":
    main()
