"""How often the answer on hours holds the truth: the tables of docs/models/hours.md.

Run:  PYTHONPATH=src python benchmarks/coverage_hours.py [--replicates 400] [--only pairs]
(parts: curves, even)

Comings are thrown at known sites under a known law of the hours and put through the curve, the activity level, the
shares of light, the busiest hour and the test of evenness, refusals and all. A cell's standard error is about one in a
hundred at 400 replicates and 95 %. The constants of `day_curve` were chosen on single comings under the shapes of
two peaks κ 20, five to three, one κ 1 and even; groups, lingering, habits, uneven hours and the other shapes are others.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable
from dataclasses import dataclass

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"  # more threads than one make small matrices slower

import numpy as np  # noqa: E402

from trod.errors import NotEnoughEvidence  # noqa: E402
from trod.findings import circular, day_curve, lights  # noqa: E402
from trod.findings.day_curve import AT, AT_H, POINTS  # noqa: E402
from trod.findings.localtime import Floats  # noqa: E402

Angles = Callable[[np.random.Generator, int], Floats]
DAWN, DUSK = np.pi / 2, 3 * np.pi / 2
SITES, DAYS = 6, 180
# An invented sky: day 06–18, twilight an hour before and after, the rest night.
LIGHT = np.where((AT_H >= 6) & (AT_H < 18), 0, np.where((AT_H >= 5) & (AT_H < 19), 1, 2))


@dataclass(frozen=True)
class Shape:
    """A law of the hours as a mixture: (share, mean, κ) of each peak, the rest even."""

    peaks: tuple[tuple[float, float, float], ...]

    def density(self) -> Floats:
        """Per hour, on the grid."""
        rest = 1 - sum(share for share, _, _ in self.peaks)
        out = np.full(POINTS, rest / circular.TURN)
        for share, mean, kappa in self.peaks:
            out += share * circular.von_mises(AT, mean, kappa)
        return np.asarray(out * circular.TURN / 24, dtype=float)

    def draw(self, rng: np.random.Generator, n: int) -> Floats:
        """Angles."""
        out = rng.uniform(0, circular.TURN, n)
        which = rng.random(n)
        edge = 0.0
        for share, mean, kappa in self.peaks:
            here = (which >= edge) & (which < edge + share)
            out[here] = rng.vonmises(mean, kappa, int(here.sum()))
            edge += share
        return np.asarray(np.mod(out, circular.TURN), dtype=float)


SHAPES = {
    "even": Shape(()),
    "one peak, κ 1": Shape(((1.0, 5.5, 1.0),)),
    "two peaks, κ 5": Shape(((0.5, DAWN, 5.0), (0.5, DUSK, 5.0))),
    "two peaks, κ 20": Shape(((0.5, DAWN, 20.0), (0.5, DUSK, 20.0))),
    "five to three, κ 20, a fifth even": Shape(((0.5, DAWN, 20.0), (0.3, DUSK, 20.0))),
}


@dataclass(frozen=True)
class Law:
    """How comings come. sizes : detections of one coming. stay_h : hours between them. days : how days differ.

    effort : share of time watched by (site, hour). gone : sites come and go. season : rate over the days.
    habit : standard deviation of a site's week about the common hours. [h]
    """

    size: float = 1.0
    stay_h: float = 0.0
    k: float = np.inf
    effort: str = "whole"
    gone: bool = False
    season: bool = False
    habit: float = 0.0


LAWS = {
    "independent": Law(),
    "overdispersed days (k ½)": Law(k=0.5),
    "groups of 3 within the hour": Law(size=3.0, stay_h=0.4),
    "lingering: 6, one each 40 min": Law(size=6.0, stay_h=0.7),
    "sites come and go": Law(gone=True),
    "pure season": Law(season=True),
    "uneven: half the sites by night only every other day": Law(effort="half nights"),
    "uneven: nights three times as long as days": Law(effort="nights"),
    "by night alone": Law(effort="night alone"),
    "habits: a site's week shifted, sd 1 h": Law(habit=1.0),
    "all at once": Law(size=3.0, stay_h=0.7, k=0.5, effort="nights", gone=True, season=True),
}


@dataclass
class Thrown:
    """Detections, and what was watched: (sites, 288) and by light, (sites, 3)."""

    hours: Floats
    day: Floats
    site: Floats
    exposures: Floats
    watched_h: Floats
    whole_h: Floats


def throw(rng: np.random.Generator, law: Law, shape: Shape, expected: float) -> Thrown:
    level = rng.gamma(1.0, 1.0, SITES) + 0.02
    present = np.ones((SITES, DAYS))
    if law.gone:
        for i in range(SITES):
            a, b = sorted(rng.integers(0, DAYS, 2).tolist())
            present[i, :] = 0
            present[i, a : b + 20] = 1
    by_hour = np.ones((SITES, 24))
    dark = (np.arange(24) < 6) | (np.arange(24) >= 18)
    if law.effort == "half nights":
        by_hour[::2, ~dark] = 0.5
    elif law.effort == "nights":
        by_hour[:, ~dark] = 1 / 3
    elif law.effort == "night alone":
        by_hour[:, ~dark] = 0.0
    rate = level[:, None] * present
    if law.season:
        rate = rate * np.exp(1.2 * np.cos(2 * np.pi * np.arange(DAYS) / 365))[None, :]
    if np.isfinite(law.k):
        rate = rate * rng.gamma(law.k, 1 / law.k, rate.shape)
    seen_share = float((shape.density().reshape(24, 12).sum(axis=1) / 12) @ by_hour.mean(axis=0))
    comings = rng.poisson(rate * (expected / law.size / max(seen_share, 0.05) / max(rate.sum(), 1e-9)))
    i, d = np.nonzero(comings)
    i, d = np.repeat(i, comings[i, d]), np.repeat(d, comings[i, d])
    start = d * 24.0 + circular.hours(shape.draw(rng, len(i)))
    if law.habit:
        week = rng.normal(0, law.habit, (SITES, DAYS // 7 + 1))
        start = start + week[i, d // 7]
    many = rng.geometric(1 / law.size, len(i)) if law.size > 1 else np.ones(len(i), dtype=int)
    many = np.minimum(many, 40)
    who = np.repeat(np.arange(len(i)), many)
    step = np.arange(len(who)) - np.repeat(np.cumsum(many) - many, many)
    back = (many[who] - 1) / 2  # a stay lies about its own middle
    at = start[who] + (step - back) * law.stay_h * rng.uniform(0.5, 1.5, len(who))
    site, hour = i[who], np.mod(at, 24.0)
    here = rng.random(len(who)) < 2.0  # all
    if law.effort != "whole":  # whole days on or off by hour, so stays are cut as they would be
        on = rng.random((SITES, DAYS + 3, 2)) < by_hour[:, [12, 0]][:, None, :]
        here = on[site, np.clip(np.floor(at / 24).astype(int), 0, DAYS + 2), dark[hour.astype(int)].astype(int)]
        share = np.stack([on[:, :DAYS, 0].mean(axis=1), on[:, :DAYS, 1].mean(axis=1)], axis=1)
        by_hour = np.where(dark[None, :], share[:, 1:], share[:, :1])
    own_days = present.sum(axis=1)
    exposures = np.repeat(by_hour, POINTS // 24, axis=1) * own_days[:, None]
    table = np.stack([exposures[:, n == LIGHT].sum(axis=1) for n in range(3)], axis=1) * 24 / POINTS
    whole = np.stack([np.full(SITES, float((n == LIGHT).sum())) for n in range(3)], axis=1) * 24 / POINTS
    return Thrown(
        hours=hour[here], day=np.floor(at[here] / 24 - 0.5), site=site[here].astype(float), exposures=exposures,
        watched_h=table, whole_h=whole * own_days[:, None],
    )  # fmt: skip


def smeared(law: Law, shape: Shape) -> Floats:
    """The law of single detections, which a stay and a habit smear. On the grid, per hour."""
    if not (law.stay_h or law.habit):
        return shape.density()
    rng = np.random.default_rng(5)
    grid = np.zeros(POINTS)
    for _ in range(8):
        thrown = throw(rng, Law(size=law.size, stay_h=law.stay_h, habit=law.habit), shape, 150_000.0)
        grid += np.bincount((thrown.hours * 12).astype(int) % POINTS, minlength=POINTS)
    grid = (np.roll(grid, 1) + grid + np.roll(grid, -1)) / 3
    return np.asarray(grid / grid.sum() * POINTS / 24, dtype=float)


def judged(law_name: str, shape_name: str, expected: float, replicates: int) -> str:
    law, shape = LAWS[law_name], SHAPES[shape_name]
    rng = np.random.default_rng([*law_name.encode(), *shape_name.encode(), round(expected)])
    truth = smeared(law, shape)
    light = np.array([truth[n == LIGHT].sum() * 24 / POINTS for n in range(3)])
    tops = [AT_H[k] for k in circular.peaks(truth)] if shape.peaks else []
    refused = told_level = level_held = told_top = top_held = uneven = told_light = light_held = claims = 0
    held: list[float] = []
    at_peaks: list[float] = []
    bias: list[float] = []
    phi: list[float] = []
    for _ in range(replicates):
        t = throw(rng, law, shape, expected)
        try:
            c = day_curve.curve(t.hours, t.day, t.site, t.exposures, draws=200)
        except NotEnoughEvidence:
            refused += 1
            continue
        own = truth / (truth[c.watched].sum() * 24 / POINTS)
        inside = (c.low <= own) & (own <= c.high)
        held.append(float(inside[c.watched].mean()))
        at_peaks.append(float(inside[c.watched & (own > own[c.watched].max() / 2)].mean()))
        uneven += c.even_p < 0.05
        phi.append(c.scatter)
        if c.activity is not None:
            bias.append(c.activity * 24 * truth.max())
        if c.activity_interval is not None:
            told_level += 1
            level_held += c.activity_interval.low <= 1 / (24 * truth.max()) * 1.0001 <= c.activity_interval.high * 1.0002
        if c.peak_interval_h is not None and len(c.peaks_h) == 1 and c.even_p < 0.05:
            told_top += 1
            arc = (c.peak_interval_h[1] - c.peak_interval_h[0]) % 24
            top_held += any((top - c.peak_interval_h[0]) % 24 <= arc for top in tops)
        parts = lights.shares(
            LIGHT[(t.hours * 12).astype(int) % POINTS], t.site, t.day, watched_h=t.watched_h, whole_h=t.whole_h
        )
        for n, part in enumerate(parts):
            if part.interval is not None:
                told_light += 1
                light_held += part.interval.low <= light[n] <= part.interval.high
            ratio = part.preference_interval
            claims += ratio is not None and not ratio.low <= 1 <= ratio.high
    told = replicates - refused

    def of(x: float, many: int) -> str:
        return f"{100 * x / many:.0f}" if many >= 0.1 * replicates else "–"

    return (
        f"| {law_name} | {shape_name} | {expected:g} | {100 * refused / replicates:.0f} | "
        f"{100 * np.mean(held) if told else np.nan:.0f} | {100 * np.mean(at_peaks) if told else np.nan:.0f} | "
        f"{of(light_held, told_light)} | {of(top_held, told_top)} ({100 * told_top / replicates:.0f}) | "
        f"{of(level_held, told_level)} ({100 * told_level / replicates:.0f}) | "
        f"{np.median(bias) if bias else np.nan:.2f} | {of(uneven, told)} | "
        f"{of(claims, 3 * told)} | {np.median(phi) if phi else np.nan:.1f} |"
    )


HEAD = (
    "| law | hours | E | refused | band | at peaks | shares of light | busiest hour (told) | activity level (told) | "
    "level over the true | called uneven | a light called preferred or avoided | scatter |\n" + "|---" * 13 + "|"
)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--replicates", type=int, default=400)
    parser.add_argument("--only", choices=("curves", "even"))
    parser.add_argument("--laws", nargs="*")
    asked = parser.parse_args()
    started = time.time()
    for part in ("even", "curves"):
        if asked.only and asked.only != part:
            continue
        print(f"\n### {'An even day' if part == 'even' else 'Days with busy times'}\n\n{HEAD}", flush=True)
        for law in asked.laws or LAWS:
            for shape in SHAPES:
                if (shape == "even") != (part == "even"):
                    continue
                for expected in (40.0, 200.0):
                    print(judged(law, shape, expected, asked.replicates), flush=True)
    print(f"\n{time.time() - started:.0f} s")


if __name__ == "__main__":
    main()
