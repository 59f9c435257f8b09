"""Does the 80 % band of a stop forecast hold 80 %? The tables of docs/models/endurance.md.

Run:  PYTHONPATH=src python benchmarks/endurance_calibration.py [--truths 700] [--twisted 150] [--futures 800]

The truths come from `simulate_truth`, written by itself, day by day in plain Python, sharing no line with the
forecaster; the forecaster sees only what a technician would: its own guess of the triggers a day, and after 30 and
60 days the daily counts (animals, blanks), which of them came by night, and what lies on the card.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from trod.planning.equipment.batteries import BATTERIES, Pack
from trod.planning.equipment.card_room import FileSizes
from trod.planning.equipment.energy import Draw
from trod.planning.ground.weather import DEFAULT_CLIMATE
from trod.planning.last import stopping
from trod.planning.last.arrivals import Arrivals, DayCount, Draws, prior_for
from trod.planning.last.battery_evidence import BatterySet, learn
from trod.planning.last.endurance import StopForecast, Used, forecast, screen, step_for
from trod.planning.last.stopping import EnergyScale, Outfit, unshown_scale

# Every truth is drawn from these ranges. The forecaster's own assumptions are in brackets behind them.
RANGES: dict[str, tuple[float, float]] = {
    "level": (3.0, 80.0),  # triggers a day, log-uniform (a guess that is off by a factor of two either way)
    "guess_sd": (0.6, 1.0),  # lognormal error of the technician's guess; some know their site (Gamma, cv 0.8)
    "k": (0.5, 3.0),  # (lognormal about 1.2)
    "drift_sd": (0.15, 0.5),  # (0.3 in the update)
    "swing": (0.15, 0.45),  # season's amplitude (0.3, ± 0.1)
    "false_run_start": (0.01, 0.06),  # (0.03, Beta)
    "false_run_stay": (0.4, 0.6),  # (0.5)
    "false_run_ln": (-0.5, 0.5),  # of 60 blanks a day of such a run (lognormal 0.5)
    "power_draw_sd": (0.2, 0.2),  # of the logarithm of what camera and batteries take (0.2)
    "draw_off": (1.0, 1.0),  # times the spread of each figure that nobody measured (1)
    "bytes_sd": (0.08, 0.08),
    "night": (0.35, 0.65),  # (0.5)
    "false_run_night": (0.1, 0.5),  # (0.3)
    "persist": (0.4, 0.85),  # of a night's cold (0.7)
}
# Joules and watts of a usual camera, and the spread of each of the logarithm, written again.
DRAW = {"idle": (0.004, 0.6), "wake": (5.0, 0.4), "day": (1.5, 0.4), "night": (10.0, 0.4)}
KITS = (("FR6", 8), ("FR6", 12), ("LR6", 12), ("HR6", 8))
# Of the batteries, written again: energy Wh, load that halves W, m, T0 °C, °C/W, width °C, loss a year.
CURVES = {
    "LR6": (3.45, 0.53, 1.2, -10.0, 12.0, 12.0, 0.03),
    "FR6": (4.5, 9.0, 1.0, -40.0, 5.0, 9.0, 0.006),
    "HR6": (2.4, 6.0, 1.0, -20.0, 6.0, 9.0, 0.15),
}


@dataclass
class Truth:
    """One camera's whole story, which the forecaster never sees."""

    battery: str
    batteries: int
    card_gb: float
    start: date
    level: float
    guess: float
    power_draw: float
    file_size: float
    draw: dict[str, float]
    spent_wh: float = 0.0
    stop_day: float = math.inf
    cause: str = "none"
    counts: list[DayCount] = field(default_factory=list)
    written_mb: list[float] = field(default_factory=list)


def simulate_truth(rng: np.random.Generator, ranges: dict[str, tuple[float, float]], most_days: int = 1096) -> Truth:
    """Day by day: runs of false triggers come and go, the level drifts, nights are cold, until batteries or card end
    it."""

    def pick(name: str) -> float:
        low, high = ranges[name]
        return float(rng.uniform(low, high))

    battery, batteries = KITS[int(rng.integers(len(KITS)))]
    level = math.exp(rng.uniform(*(math.log(x) for x in ranges["level"])))
    truth = Truth(
        battery=battery, batteries=batteries, card_gb=float(rng.choice([32, 64])),
        start=date(2027, 1, 1) + timedelta(days=int(rng.integers(365))), level=level,
        guess=level * math.exp(rng.normal(0, pick("guess_sd"))),
        power_draw=math.exp(rng.normal(0, pick("power_draw_sd"))), file_size=math.exp(rng.normal(0, pick("bytes_sd"))),
        draw={name: mid * math.exp(rng.normal(0, sd * pick("draw_off"))) for name, (mid, sd) in DRAW.items()},
    )  # fmt: skip
    k, drift_sd, swing, false_run_start, stay = (
        pick(n) for n in ("k", "drift_sd", "swing", "false_run_start", "false_run_stay")
    )
    false_run_blanks, night = 60 * math.exp(pick("false_run_ln")), pick("night")
    false_run_night, persist = pick("false_run_night"), pick("persist")
    energy, half_w, m, t0, per_w, width, loss = CURVES[battery]
    load = 0.5 * 8.0 / batteries

    def fall(t: float) -> float:
        return 1 / (1 + math.exp(-(t - t0 - per_w * load) / width))

    best = batteries * energy / (1 + (load / half_w) ** m) / fall(21.0)
    keep = math.exp(-1 / 30)
    drift, cold, false_run = (
        rng.normal(0, drift_sd),
        rng.normal(),
        rng.random() < false_run_start / (false_run_start + 1 - stay),
    )
    spent = written = 0.0
    for day in range(most_days):
        today = truth.start + timedelta(days=day)
        doy = today.timetuple().tm_yday
        mean = level * math.exp(swing * math.cos(2 * math.pi * (doy - 288) / 365.25) + drift - drift_sd**2 / 2)
        n = int(rng.poisson(rng.gamma(k, mean / k)))
        by_night = int(rng.binomial(n, night))
        b = int(rng.poisson(rng.gamma(1.5, false_run_blanks / 1.5))) if false_run else 0
        dark = by_night + false_run_night * b
        light = n + b - dark
        does = truth.draw
        use = 86400 * does["idle"] + does["wake"] * (n + b) + 3 * (does["day"] * light + does["night"] * dark)
        use *= truth.power_draw / 3600
        room = 3 * (light * (3.6 * math.sqrt(1.09) * truth.file_size + 0.016)
                    + dark * (2.0 * math.sqrt(1.1225) * truth.file_size + 0.016))  # fmt: skip
        night_c = 5 - 12 * math.cos(2 * math.pi * (doy - 20) / 365.25) + 4 * cold
        gives = best * fall(min(night_c, 21.0)) * (1 - loss * (day + 1) / 365.25)
        ends = []
        if spent + use >= gives:
            ends.append((min(1.0, max(0.0, (gives - spent) / use)), "batteries"))
        if written + room >= 995 * truth.card_gb:
            ends.append(((995 * truth.card_gb - written) / room, "card"))
        spent, written = spent + use, written + room
        truth.spent_wh = spent
        truth.counts.append(DayCount(day=today, animals=n, blanks=b, night=by_night))
        truth.written_mb.append(written)
        if ends:
            part, truth.cause = min(ends)
            truth.stop_day = day + part
            break
        drift = keep * drift + rng.normal(0, drift_sd * math.sqrt(1 - keep**2))
        cold = persist * cold + rng.normal(0, math.sqrt(1 - persist**2))
        false_run = rng.random() < (stay if false_run else false_run_start)
    return truth


@dataclass(frozen=True)
class Band:
    """A forecast's 10 %, 50 % and 90 % day, from the visit."""

    q10: float
    q50: float
    q90: float


class Plain(Arrivals):
    """The textbook's: Gamma-Poisson with each trigger an independent fact, no drift, no runs of false triggers apart."""

    def draw(self, n: int, rng: np.random.Generator) -> Draws:
        """From the undiscounted Gamma."""
        total = sum(count.triggers for count in self.counts)
        season = self.prior.season.factor([float(count.day.timetuple().tm_yday) for count in self.counts])
        level = rng.gamma(self.prior.shape + total, 1 / (self.prior.level_rate + float(season.sum())), n)
        zero = np.zeros(n)
        return Draws(
            level=level, k=np.full(n, 1e6), false_run_start=zero, false_run_blanks=zero + 1, night_share=zero + 0.5
        )


def seen(truth: Truth, days: int, *, apart: bool = True, metered: bool = False) -> tuple[Outfit, Arrivals, Used, date]:
    """What the technician knows after so many days. metered : its draw too, figure by figure."""
    outfit = Outfit(pack=Pack(battery=BATTERIES[truth.battery], number=truth.batteries), card_gb=truth.card_gb)
    if metered:
        its = truth.draw
        own = Draw().measured(idle_w=its["idle"], wake_j=its["wake"], day_frame_j=its["day"], night_frame_j=its["night"])
        outfit = replace(outfit, draw=own)
    site = Arrivals(prior=prior_for("trail", level_per_day=min(truth.guess, 5000)), feature="trail")
    if not days:
        return outfit, site, Used(), truth.start
    counts = truth.counts[:days]
    if not apart:
        counts = [replace(c, animals=c.animals + c.blanks, blanks=0, night=None, told_apart=False) for c in counts]
    site = site.after(counts)
    if sum(c.triggers for c in counts) * 3 >= 60:  # the first card's own mean sizes
        sizes = FileSizes(day_mb=3.6 * truth.file_size, night_mb=2.0 * truth.file_size, source="from the card")
        outfit = replace(outfit, sizes=sizes, bytes_sd=0.03)
    used = Used.of(outfit, counts, fresh_batteries=truth.start, card_in=truth.start,
                   night_share=site.posterior.night_share)  # fmt: skip
    used = replace(used, card_mb=truth.written_mb[days - 1])
    return outfit, site, used, truth.start + timedelta(days=days)


def by_forecast(
    truth: Truth, days: int, futures: int, *, apart: bool = True, metered: bool = False, seed: int = 0
) -> StopForecast:
    """The forecast proper, day by day."""
    outfit, site, used, start = seen(truth, days, apart=apart, metered=metered)
    return forecast(outfit, site, start, used=used, futures=futures, second_date=False, seed=seed)


def by_many(truth: Truth, days: int) -> StopForecast:
    """As `forecast_many` has it."""
    outfit, site, used, start = seen(truth, days)
    step = step_for(outfit, site, start, DEFAULT_CLIMATE, used)
    return forecast(outfit, site, start, used=used, futures=300, second_date=False, step_days=step)


def by_closed_form(truth: Truth, days: int) -> Band:
    """The closed form, given that the camera is alive."""
    outfit, site, used, start = seen(truth, days)
    screened = screen(outfit, site, start, used=used)
    f = screened.stopped
    first = f[1]  # what it gives to having stopped already
    f = np.maximum(f - first, 0) / max(1 - first, 1e-9)
    days_at = [float(np.argmax(f >= q)) if (f >= q).any() else math.inf for q in (0.1, 0.5, 0.9)]
    return Band(*days_at)


def by_plain(truth: Truth, days: int, futures: int) -> Band:
    """The textbook's update with all else known."""
    outfit, site, used, start = seen(truth, days)
    plain = Plain(prior=site.prior, feature="trail", counts=site.counts)
    kept = stopping.DRIFT_MEDIAN_SD, stopping.SEASON_SD
    stopping.DRIFT_MEDIAN_SD, stopping.SEASON_SD = 0.0, 0.0
    try:
        sure = replace(outfit, scale=EnergyScale(0.0, 0.0), bytes_sd=0.0)
        stop = forecast(sure, plain, start, used=used, futures=futures, second_date=False).stop
    finally:
        stopping.DRIFT_MEDIAN_SD, stopping.SEASON_SD = kept
    return Band(stop.q10, stop.q50, stop.q90)


@dataclass
class Score:
    """How often the band held, and where it did not."""

    n: int = 0
    held: int = 0
    before: int = 0
    after: int = 0
    off: list[float] = field(default_factory=list)
    width: list[float] = field(default_factory=list)

    def add(self, band: Band, left_days: float) -> None:
        """left_days : from the visit to the true stop."""
        self.n += 1
        early, late = left_days < band.q10, left_days > band.q90
        self.before += early
        self.after += late
        self.held += not (early or late)
        if math.isfinite(band.q50) and math.isfinite(left_days) and band.q50 > 0 and left_days > 0:
            self.off.append(math.log(band.q50 / left_days))
        if math.isfinite(band.q90):
            self.width.append((band.q90 - band.q10) / max(band.q50, 1))

    def row(self, name: str) -> str:
        """One line of the table."""
        share = self.held / self.n
        se = math.sqrt(share * (1 - share) / self.n)
        return (
            f"| {name} | {self.n} | {share:.3f} ± {se:.3f} | {self.before / self.n:.3f} | {self.after / self.n:.3f} "
            f"| {np.median(self.off):+.2f} | {np.median(self.width):.2f} |"
        )


HEAD = """| forecaster, when | cameras | 80 % band holds | ended before | after | ln(median/true) | width/median |
|---|---|---|---|---|---|---|"""


def score(truths: list[Truth], days: int, how: Callable[[Truth, int], Band | StopForecast]) -> tuple[
    Score, list[tuple[float, bool]]
]:  # fmt: skip
    """Over the cameras still alive at the visit: score, and (chance said that batteries end it, whether they did)."""
    total, causes = Score(), []
    for truth in truths:
        if truth.stop_day <= days:
            continue
        answer = how(truth, days)
        if isinstance(answer, StopForecast):
            whole = sum(answer.causes.values())
            if whole > 0 and truth.cause != "none":
                causes.append((answer.causes["batteries"] / whole, truth.cause == "batteries"))
            answer = Band(answer.stop.q10, answer.stop.q50, answer.stop.q90)
        total.add(answer, truth.stop_day - days)
    return total, causes


def causes_table(causes: list[tuple[float, bool]]) -> None:
    """Said chance that the batteries end it against how often they did."""
    said, came = (np.array(x, dtype=float) for x in zip(*causes, strict=True))
    edges = (0.0, 0.05, 0.3, 0.7, 0.95, 1.0001)
    print("\n| chance said that batteries end it | cameras | mean said | batteries ended it |\n|---|---|---|---|")
    for low, high in pairwise(edges):
        mine = (said >= low) & (said < high)
        if mine.any():
            shares = f"{said[mine].mean():.2f} | {came[mine].mean():.2f}"
            print(f"| {low:.2f} to {min(high, 1):.2f} | {mine.sum()} | {shares} |")


def power_draw_table(truths: list[Truth]) -> None:
    """How often the learnt factor's 80 % interval holds the camera's true one, for cameras that batteries ended; and
    when
    one in five of them had ended at a fifth of that time by something else, which nobody noticed."""
    dead = [t for t in truths if t.cause == "batteries" and len(t.counts) > 20]
    if not dead:
        print("no camera was ended by its batteries")
        return
    print()
    for spoilt in (False, True):
        held, held_before, spread, errors, told = 0, 0, [], [], []
        for number, truth in enumerate(dead):
            days = len(truth.counts) // 5 if spoilt and number % 5 == 0 else len(truth.counts)
            outfit, _, used, until = seen(truth, len(truth.counts))
            true_ln = math.log(truth.spent_wh / used.energy_wh)
            outfit, _, used, until = seen(truth, days)
            counts = truth.counts[:days]
            n, b, dark = (sum(x) for x in zip(*((c.animals, c.blanks, c.night or 0) for c in counts), strict=True))
            before = unshown_scale(
                outfit.draw, outfit.parts_j(days=days, triggers=n, blanks=b, night_share=dark / max(1, n))
            )
            ended = BatterySet.of(outfit, climate=DEFAULT_CLIMATE, until=until, used=used, ended="dead")
            found = learn(before, [ended])
            low, high = (math.log(x) for x in found.scale.within())
            held += low <= true_ln <= high
            held_before += abs(true_ln) <= 1.2816 * before.ln_sd
            spread.append(found.scale.ln_sd)
            errors.append(found.scale.ln_mean - true_ln)
            told.append(before.ln_sd)
        words = "one in five ended early by something else" if spoilt else "batteries ended them"
        print(
            f"Draw learnt from {len(dead)} cameras, {words}: 80 % interval holds {held / len(dead):.3f} (before: "
            f"{held_before / len(dead):.3f}), sd said {np.mean(spread):.3f} (before {np.mean(told):.3f}), error "
            f"{np.mean(errors):+.3f} ± {np.std(errors):.3f}."
        )


TWISTED: dict[str, dict[str, tuple[float, float]]] = {
    "power draw ± 40 %": {"power_draw_sd": (0.4, 0.4)},
    "erratic: drift 0.5 to 0.9": {"drift_sd": (0.5, 0.9)},
    "calm: drift ≤ 0.1, power draw ± 8 %": {"drift_sd": (0.02, 0.1), "power_draw_sd": (0.08, 0.08)},
    "draw twice as far off": {"draw_off": (2.0, 2.0)},
    "stormy: starts 6 to 12 % of days": {"false_run_start": (0.06, 0.12)},
    "guess wrong by a factor of three": {"guess_sd": (1.1, 1.1)},
    "season twice as strong": {"swing": (0.5, 0.7)},
}


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--truths", type=int, default=700)
    parser.add_argument("--twisted", type=int, default=150)
    parser.add_argument("--futures", type=int, default=800)
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--only", default="", help="the forecaster whose rows are wanted; all when empty")
    asked = parser.parse_args()
    began = time.process_time()
    rng = np.random.default_rng(asked.seed)
    truths = [simulate_truth(rng, RANGES) for _ in range(asked.truths)]
    print(f"{asked.truths} truths, {asked.futures} futures each, seed {asked.seed}; ended by", {
        cause: sum(t.cause == cause for t in truths) for cause in ("batteries", "card", "none")}, "\n")  # fmt: skip
    print(HEAD)
    forecasters: list[tuple[str, Callable[[Truth, int], Band | StopForecast], bool]] = [
        ("forecast", lambda t, d: by_forecast(t, d, asked.futures), True),
        ("forecast_many", by_many, True),
        ("forecast, blanks not told apart", lambda t, d: by_forecast(t, d, asked.futures, apart=False), False),
        ("forecast, draw measured", lambda t, d: by_forecast(t, d, asked.futures, metered=True), True),
        ("closed form", by_closed_form, True),
        ("plain Gamma-Poisson", lambda t, d: by_plain(t, d, asked.futures), False),
    ]
    causes: list[tuple[float, bool]] = []
    for name, how, from_start in forecasters:
        if asked.only and name != asked.only:
            continue
        for days in (0, 30, 60) if from_start else (30, 60):
            total, found = score(truths, days, how)
            print(total.row(f"{name}, {'at set-up' if not days else f'after {days} days'}"), flush=True)
            if name == "forecast":
                causes += found
    if asked.only and not causes:
        return
    causes_table(causes)
    power_draw_table(truths)
    if asked.twisted:
        print("\nTruths beyond the assumptions (forecast):\n")
        print(HEAD)
        for name, twist in TWISTED.items():
            odd = [simulate_truth(rng, RANGES | twist) for _ in range(asked.twisted)]
            for days in (0, 30, 60):
                total, _ = score(odd, days, lambda t, d: by_forecast(t, d, asked.futures // 2))
                print(total.row(f"{name}, {'at set-up' if not days else f'after {days} days'}"), flush=True)
    print(f"\n{time.process_time() - began:.0f} s of processor time")


if __name__ == "__main__":
    main()
