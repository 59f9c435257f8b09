"""Trips by plan against a fixed monthly round: camera-days lost in simulated reserve-years, at the same number of trips.

    python benchmarks/upkeep.py [--reserves 200] [--cameras 10] [--seed 1] [--ways …] [--days-to-fault 600] [--json]

A year has 360 days; all cameras are set on its first day and brought home on its last. The **monthly round** visits
every camera on days 30, 60 … 330. The **plan** makes no more trips. A trip goes to one camera, or to one part of the
reserve (five cameras, drawn at random). At every visit, by round or by plan, batteries and card are fresh and a lost
camera is replaced, so that only *when* and *where* differ. The plan **with fixes** may besides, at a visit, put in a
128 GB card or lithium batteries for good where `fixes.worth_of_fix` says that it pays; then the monthly round is also
run with those same things from the first day on, to tell what the things do and what the plan does.

The world is simulated here, day by day, apart from the forecaster, with which it has only the batteries' curve and the
mean energies in common: each camera has a level of its own, spread, a drift of its own strength and memory, a season
that the planner has a wrong idea of, runs of false triggers, hungry or frugal electronics (± 20 %), large or small
files (± 15 %), faults and thefts. The planner sees what a technician sees: the kind of site, the daily counts (animals
and blanks told apart) and the bytes on a card that came home, dead or alive on arrival and of what, and the region's
long-run rate of faults, from which the reserve's own differs by a half. A stolen camera brings no card. A camera whose
flash fails counts as stopped, though day pictures may go on.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from trod.planning.equipment.batteries import BATTERIES, Pack, usable_wh
from trod.planning.equipment.card_room import FileSizes
from trod.planning.equipment.energy import Draw
from trod.planning.ground.weather import Climate
from trod.planning.last.arrivals import Arrivals, DayCount
from trod.planning.last.battery_evidence import BatterySet, learn
from trod.planning.last.endurance import forecast, step_for
from trod.planning.last.stopping import EnergyScale, Outfit, Used
from trod.planning.visit.fixes import worth_of_fix
from trod.planning.visit.sharing import share_trips
from trod.planning.visit.upkeep import with_hazard

Floats = NDArray[np.float64]
DAYS = 360
ROUND_DAYS = 30
FIRST = date(2025, 1, 1)
HORIZON_DAYS = 260
HAZARD = 1 / 600
DISTURBANCE_DAYS = 2
# What the simulated cameras import the mean; the planner is told so, and that single ones differ by 20 %.
DRAW = Draw(idle_w=0.0012, wake_j=2.0, day_frame_j=1.0, night_frame_j=7.0)
# Invented, all of it. Kind of site: how common, steady triggers a day from and to, day of most, night share.
SITES = {
    "trail": (0.35, 5, 45, 290, 0.5),
    "road": (0.10, 3, 40, 290, 0.6),
    "saddle": (0.15, 2, 20, 250, 0.5),
    "water": (0.10, 8, 60, 200, 0.5),
    "meadow": (0.10, 8, 70, 160, 0.6),
    "lick": (0.05, 10, 70, 160, 0.5),
    "feeding": (0.15, 40, 250, 30, 0.6),
}
PACKS = {("FR6", 8): 0.45, ("FR6", 12): 0.10, ("LR6", 8): 0.15, ("LR6", 12): 0.15, ("HR6", 8): 0.15}
CARDS_GB = {16: 0.1, 32: 0.6, 64: 0.2, 128: 0.1}
# What a fix costs in camera-days for the rest of the year, and what it must save on top of that. Assumed.
BIG_CARD_DAYS, LITHIUM_DAYS, MUST_SAVE_DAYS = 4.0, 8.0, 2.0
# Cameras that a trip imports, and whether the plan may put in better things.
WAYS = {
    "a trip to each camera": (1, False),
    "a trip to each camera, with fixes": (1, True),
    "a trip to each part": (5, False),
    "a trip to each part, with fixes": (5, True),
}
CLIPS = 0.15  # of cameras take clips of 10 s instead of bursts of three


@dataclass(frozen=True)
class Truth:
    """One camera's year as it really is. Arrays have one entry a day."""

    kind: str
    battery: str
    batteries: int
    card_gb: int
    clip_s: float
    animals: NDArray[np.int64]
    night: NDArray[np.int64]
    blanks: NDArray[np.int64]
    wh: Floats
    mb: Floats
    nights_c: Floats
    faults: tuple[tuple[float, bool], ...]  # day, stolen

    @cached_property
    def gives_wh(self) -> Floats:
        """What its fresh batteries give to an 8 W flash in each night."""
        return self.batteries * usable_wh(BATTERIES[self.battery], self.nights_c, 0.5 * 8.0 / self.batteries)

    def stop(self, since: int) -> tuple[float, str]:
        """When it stops when it is set anew on a day, and of what; DAYS when it lasts the year out."""
        ends = [(float(DAYS), "lasts")]
        for used, room, cause in (
            (self.wh, self.gives_wh[since:], "batteries"),
            (self.mb, np.full(DAYS - since, 0.995 * 1000 * self.card_gb), "card"),
        ):
            gone = np.cumsum(used[since:])
            over = gone >= room
            if over.any():
                at = int(over.argmax())
                before = gone[at] - used[since + at]
                part = max(0.0, min(1.0, (room[at] - before) / max(used[since + at], 1e-12)))
                ends.append((since + at + part, cause))
        ends += [(day, "theft" if stolen else "fault") for day, stolen in self.faults if day >= since]
        return min(ends)


def pick(rng: np.random.Generator, chances: dict) -> object:  # type: ignore[type-arg]
    """One of the keys, by its chance."""
    return list(chances)[int(rng.choice(len(chances), p=np.array(list(chances.values())) / sum(chances.values())))]


def wander(rng: np.random.Generator, sd: float, memory_days: float) -> Floats:
    """A slow wander about 0."""
    keep = math.exp(-1 / memory_days)
    found = np.empty(DAYS)
    value = sd * rng.standard_normal()
    for day in range(DAYS):
        value = keep * value + sd * math.sqrt(1 - keep * keep) * rng.standard_normal()
        found[day] = value
    return found


def camera(rng: np.random.Generator, nights_c: Floats, hazard: float) -> Truth:
    """A camera, its site and its year."""
    kind = str(pick(rng, {name: row[0] for name, row in SITES.items()}))
    _, low, high, peak, night_share = SITES[kind]
    battery, batteries = pick(rng, PACKS)  # type: ignore[misc]
    card_gb = pick(rng, CARDS_GB)
    clip_s = 10.0 if rng.random() < CLIPS else 0.0
    days = np.arange(DAYS)
    level = math.exp(rng.uniform(math.log(low), math.log(high)))
    swing = rng.normal(0.3, 0.15) * np.cos(2 * np.pi * (days + 1 - peak - rng.normal(0, 40)) / 365.25)
    sd = math.exp(rng.normal(math.log(0.3), 0.35))
    mean = level * np.exp(swing + wander(rng, sd, rng.uniform(20, 60)) - sd * sd / 2)
    k = float(np.clip(math.exp(rng.normal(math.log(1.2), 0.6)), 0.3, 5))
    animals = rng.poisson(rng.gamma(k, mean / k))
    share = float(np.clip(rng.normal(night_share, 0.1), 0.05, 0.95))
    night = rng.binomial(animals, share)
    false_run, start, size = False, rng.uniform(0.01, 0.06), 60 * math.exp(rng.normal(0, 0.5))
    blanks = np.zeros(DAYS, dtype=np.int64)
    for day in range(DAYS):
        false_run = rng.random() < (0.5 if false_run else start)
        if false_run:
            blanks[day] = rng.poisson(rng.gamma(1.5, size / 1.5))
    hungry, large = math.exp(rng.normal(0, 0.20)), math.exp(rng.normal(0, 0.15))
    dark = night + 0.3 * blanks
    light = animals + blanks - dark
    if clip_s:
        joules = light * (2 + clip_s * 1.6) + dark * (2 + clip_s * 8.0)
        mb = (light + dark) * (clip_s * 1.5 * large + 0.016)
    else:
        joules = light * (2 + 3 * 1.0) + dark * (2 + 3 * 7.0)
        mb = 3 * (light * (3.76 * large + 0.016) + dark * (2.12 * large + 0.016))
    at, faults = 0.0, []
    while (at := at + rng.exponential(1 / hazard)) < DAYS:
        faults.append((at, bool(rng.random() < 0.5)))
    return Truth(
        kind=kind, battery=battery, batteries=batteries, card_gb=int(card_gb), clip_s=clip_s,  # type: ignore[call-overload]
        animals=animals, night=night, blanks=blanks, wh=hungry * (0.0288 + joules / 3600), mb=mb,
        nights_c=nights_c, faults=tuple(faults),
    )  # fmt: skip


def reserve(seed: int, cameras: int, usual_hazard: float) -> list[Truth]:
    """A reserve and its year; cameras share the weather and how often things go wrong there."""
    rng = np.random.default_rng([seed, 4242])
    days = np.arange(DAYS)
    usual = 5 + rng.normal(0, 2) - 12 * np.cos(2 * np.pi * (days + 1 - 20) / 365.25)
    nights_c = usual + wander(rng, 4.0, 3.0)
    hazard = usual_hazard * math.exp(rng.normal(-0.125, 0.5))
    return [camera(rng, nights_c, hazard) for _ in range(cameras)]


@dataclass
class Tally:
    """What a way of going about it came to, over one reserve-year."""

    trips: int = 0
    visits: int = 0
    lost: float = 0.0
    by_cause: dict[str, float] = field(default_factory=dict)
    found_dead: int = 0
    big_cards: int = 0
    better_batteries: int = 0

    def arrive(self, truth: Truth, since: int, day: int) -> tuple[float, str]:
        """Book a visit (or the end) and give back when and of what it had stopped."""
        stop, cause = truth.stop(since)
        if stop < day:
            self.lost += day - stop
            self.by_cause[cause] = self.by_cause.get(cause, 0.0) + day - stop
        return stop, cause

    def visit(self, truth: Truth, since: int, day: int) -> tuple[float, str]:
        """A visit on the way, counted."""
        stop, cause = self.arrive(truth, since, day)
        self.visits += 1
        self.found_dead += stop < day
        return stop, cause


def monthly(world: Sequence[Truth], parts: Sequence[Sequence[int]]) -> Tally:
    """The fixed round."""
    tally = Tally()
    rounds = range(ROUND_DAYS, DAYS, ROUND_DAYS)
    tally.trips = len(rounds) * len(parts)
    for truth in world:
        since = 0
        for day in rounds:
            tally.visit(truth, since, day)
            since = day
        tally.arrive(truth, since, DAYS)
    return tally


class Planner:
    """What a technician knows of one camera, and the forecast from it."""

    climate = Climate.seasonal()

    def __init__(self, truth: Truth, *, futures: int, hazard: float) -> None:
        self.futures, self.hazard = futures, hazard
        self.outfit = Outfit(
            draw=DRAW,
            scale=EnergyScale(),
            pack=Pack(battery=BATTERIES[truth.battery], number=truth.batteries),
            card_gb=truth.card_gb,
            frames=0 if truth.clip_s else 3,
            clip_s=truth.clip_s,
        )
        self.arrivals = Arrivals.for_site(truth.kind)  # type: ignore[arg-type]
        self.written = self.expected = 0.0
        self.look(0)

    def stopped(self, outfit: Outfit, day: int) -> Floats:
        """Chance that batteries or card have stopped it, from a visit on this day."""
        start = FIRST + timedelta(days=day)
        return forecast(
            outfit, self.arrivals, start, climate=self.climate, futures=self.futures,
            step_days=step_for(outfit, self.arrivals, start, self.climate, Used()),
            second_date=False, most_days=HORIZON_DAYS, seed=7,
        ).stopped  # fmt: skip

    def look(self, day: int) -> None:
        """Forecast from a visit on this day."""
        self.batteries_or_card = self.stopped(self.outfit, day)
        self.curve = with_hazard(self.batteries_or_card, self.hazard)

    def fix(self, day: int, price_days: float) -> Outfit | None:
        """What pays most to change for good, if anything does, at the price that a trip has."""
        left = float(DAYS - day)
        best, chosen = MUST_SAVE_DAYS, None
        for fixed, cost in (
            (replace(self.outfit, card_gb=128.0), BIG_CARD_DAYS),
            (replace(self.outfit, pack=replace(self.outfit.pack, battery=BATTERIES["FR6"])), LITHIUM_DAYS),
        ):
            if fixed == self.outfit:
                continue
            worth = worth_of_fix(
                self.batteries_or_card, self.stopped(fixed, day), cost_in_lost_days=max(price_days, 0.5),
                hazard_per_day=self.hazard, price_in_lost_days=cost, lasts_days=max(left, 30.0),
            )  # fmt: skip
            if worth.saved_days_a_year * left / 365.25 > best:
                best, chosen = worth.saved_days_a_year * left / 365.25, fixed
        return chosen

    def learn(self, truth: Truth, since: int, stop: float, cause: str, day: int) -> None:
        """What came home."""
        last = min(day, int(stop))
        if cause != "theft" or stop >= day:
            counts = [
                DayCount(day=FIRST + timedelta(days=d), animals=int(truth.animals[d]), night=int(truth.night[d]),
                         blanks=int(truth.blanks[d]))
                for d in range(since, last)
            ]  # fmt: skip
            self.arrivals = self.arrivals.after(counts)
            whole = replace(self.outfit, sizes=FileSizes())
            used = Used.of(whole, counts, fresh_batteries=FIRST, card_in=FIRST)
            self.written += float(truth.mb[since:last].sum())
            self.expected += used.card_mb
            if self.expected > 100:
                by = self.written / self.expected
                sizes = FileSizes(day_mb=3.6 * by, night_mb=2.0 * by, clip_mb_s=1.5 * by, source="from its cards")
                self.outfit = replace(self.outfit, sizes=sizes, bytes_sd=0.03)
            if cause == "batteries" and stop < day and len(counts) >= 5:
                ended = BatterySet.of(
                    self.outfit, climate=self.climate, until=FIRST + timedelta(days=last), used=used, ended="dead"
                )
                self.outfit = replace(self.outfit, scale=learn(self.outfit.scale or EnergyScale(), [ended]).scale)
        self.look(day)


def planned(
    world: list[Truth], parts: Sequence[Sequence[int]], *, trips: int, futures: int, hazard: float, fixes: bool
) -> Tally:
    """The plan: each day, go where the interval shared out from the latest forecasts has run out.

    world : changed in place where a fix changes what hangs there.
    """
    tally = Tally()
    planners = [Planner(truth, futures=futures, hazard=hazard) for truth in world]
    since = [0] * len(parts)
    due: list[float] = []
    fresh = True  # whether something was learned since the trips were shared out
    for day in range(1, DAYS):
        if tally.trips >= trips:
            break
        if fresh:
            fresh = False
            curves = [np.sum([planners[i].curve for i in part], axis=0) for part in parts]
            over = np.array([DAYS - s for s in since], dtype=float)
            shared = share_trips(curves, trips=trips - tally.trips, over_days=over, end_visit=True)
            due = [s + interval for s, interval in zip(since, shared.intervals, strict=True)]
        for number, part in enumerate(parts):
            if day < due[number] or tally.trips >= trips:
                continue
            tally.trips += 1
            for i in part:
                stop, cause = tally.visit(world[i], since[number], day)
                planner = planners[i]
                planner.learn(world[i], since[number], stop, cause, day)
                # Only where batteries or card may matter before a month is over, and a card has come home.
                if fixes and planner.written and planner.batteries_or_card[min(45, HORIZON_DAYS)] > 0.02:
                    fixed = planner.fix(day, shared.price_days / len(part))
                    if fixed is not None:
                        tally.big_cards += fixed.card_gb != planner.outfit.card_gb
                        tally.better_batteries += fixed.pack != planner.outfit.pack
                        planner.outfit = fixed
                        world[i] = replace(world[i], card_gb=int(fixed.card_gb), battery=fixed.pack.battery.designation)
                        planner.look(day)
            since[number] = day
            fresh = True
    for number, part in enumerate(parts):
        for i in part:
            tally.arrive(world[i], since[number], DAYS)
    return tally


def in_parts(cameras: int, size: int) -> list[list[int]]:
    """Cameras in parts of the reserve, by their number (kinds are drawn at random, so are the parts)."""
    return [list(range(first, min(first + size, cameras))) for first in range(0, cameras, size)]


def compare(
    *, reserves: int, cameras: int, seed: int, futures: int, hazard: float = HAZARD, ways: Sequence[str] | None = None
) -> dict[str, dict[str, float]]:
    """Means of one reserve-year for each way, monthly round and plan side by side."""
    found: dict[str, dict[str, float]] = {}
    for name, (size, fixes) in WAYS.items():
        if ways is not None and name not in ways:
            continue
        parts = in_parts(cameras, size)
        rows: dict[str, list[Tally]] = {"monthly": [], "plan": []} | ({"monthly, fixed": []} if fixes else {})
        for number in range(reserves):
            world = reserve(seed * 100_000 + number, cameras, hazard)
            rows["monthly"].append(monthly(world, parts))
            trips = rows["monthly"][-1].trips
            rows["plan"].append(planned(world, parts, trips=trips, futures=futures, hazard=hazard, fixes=fixes))
            if fixes:
                rows["monthly, fixed"].append(monthly(world, parts))
        found[name] = told(rows)
    return found


def _batteries_card(tallies: Sequence[Tally]) -> float:
    return sum(tally.by_cause.get(cause, 0.0) for tally in tallies for cause in ("batteries", "card"))


def told(rows: dict[str, list[Tally]]) -> dict[str, float]:
    """Means, and the ratio of lost days with its standard error over independent reserves."""
    lost = np.array([[tally.lost for tally in rows[who]] for who in ("monthly", "plan")])
    ratio = lost[1].sum() / lost[0].sum()
    row = {
        "ratio": float(ratio),
        "ratio_se": float(np.sqrt(np.sum((lost[1] - ratio * lost[0]) ** 2)) / lost[0].sum()),
        # What batteries and cards cost; faults and theft come whatever one plans.
        "ratio_batteries_card": _batteries_card(rows["plan"]) / _batteries_card(rows["monthly"]),
        "better_in": float(np.mean(lost[1] < lost[0])),
        "halved_in": float(np.mean(lost[1] <= lost[0] / 2)),
    }
    for who, tallies in rows.items():
        for what in ("lost", "trips", "visits", "big_cards", "better_batteries"):
            row[f"{who} {what}"] = float(np.mean([getattr(tally, what) for tally in tallies]))
        row[f"{who} disturbed"] = DISTURBANCE_DAYS * row[f"{who} visits"]
        row[f"{who} found dead"] = float(np.mean([tally.found_dead / max(tally.visits, 1) for tally in tallies]))
        for cause in ("batteries", "card", "fault", "theft"):
            row[f"{who} {cause}"] = float(np.mean([tally.by_cause.get(cause, 0.0) for tally in tallies]))
    return row


def main() -> None:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--reserves", type=int, default=200)
    parser.add_argument("--cameras", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--futures", type=int, default=150)
    parser.add_argument("--days-to-fault", type=float, default=1 / HAZARD, help="mean days until a fault or theft")
    parser.add_argument("--ways", nargs="*", choices=list(WAYS), default=list(WAYS)[:3], metavar="WAY")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    begun = time.process_time()
    found = compare(
        reserves=args.reserves, cameras=args.cameras, seed=args.seed, futures=args.futures,
        hazard=1 / args.days_to_fault, ways=args.ways,
    )  # fmt: skip
    if args.json:
        print(json.dumps(found, indent=1))
        return
    print(f"{args.reserves} reserve-years of {args.cameras} cameras, a fault or theft in {args.days_to_fault:.0f} days; "
          "a mean year:")  # fmt: skip
    shown = (
        "lost",
        "batteries",
        "card",
        "fault",
        "theft",
        "trips",
        "visits",
        "disturbed",
        "big_cards",
        "better_batteries",
    )
    for name, row in found.items():
        print(
            f"\n{name}: lost days by plan / by round {row['ratio']:.3f} ± {row['ratio_se']:.3f} (standard error), "
            f"by batteries and card alone {row['ratio_batteries_card']:.3f}; fewer in {row['better_in']:.0%} of reserves, "  # noqa: E501
            f"half or less in {row['halved_in']:.0%}"
        )
        print(f"{'':16}" + "".join(f"{what:>13}" for what in (*shown, "found dead")))
        for who in ("monthly", "plan", "monthly, fixed"):
            if f"{who} lost" in row:
                print(f"{who:16}" + "".join(f"{row[f'{who} {what}']:13.1f}" for what in shown)
                      + f"{row[f'{who} found dead']:13.1%}")  # fmt: skip
    print(f"\n{time.process_time() - begun:.0f} s of one core")


if __name__ == "__main__":
    main()
