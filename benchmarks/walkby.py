"""How fast walk-bys are simulated, how soon the first answer comes, and the tables of docs/models/walkby.md.

Run:  PYTHONPATH=src python benchmarks/walkby.py [--tables] [--calibrate]

Speed is told as processor time of one thread, and as a ratio to the same model written plainly in NumPy,
measured in turns. `--tables` prints the tables of the model's paper, `--calibrate` how often the intervals of
a walk test hold the truth.
"""

from __future__ import annotations

import argparse
import math
import statistics
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np

from trod.planning.catch import crossing
from trod.planning.catch.crossing import Path
from trod.planning.catch.detection import Sensor
from trod.planning.catch.dwelling import Stay, StayCase, visits
from trod.planning.catch.passers import DEER, ELK, FOX, HARE, MIXED, RUN, TROT, WALK
from trod.planning.catch.walkby import (
    Case,
    Chances,
    Timing,
    Walkbys,
    angle_advice,
    first_answer,
    open_ground,
)

COLD = """
import time
w, p = time.perf_counter(), time.process_time()
from trod.planning.catch.walkby import Case, first_answer
first_answer(Case())
print(time.perf_counter() - w, time.process_time())
"""


def plain(case: Case, n: int, rng: np.random.Generator) -> tuple[float, float, float]:
    """The model as one writes it at first: whole tables (passes, pulses) in double precision.

    Each pass asks each of its pulses in turn; no strata, no dropping of hopeless rays, no small arrays.
    Returns the shares triggered, middle in a frame, whole.
    """
    body, sensor, timing = case.passer.body, case.sensor, case.timing
    q, a = case.path.offset_m, math.radians(case.path.angle_deg)
    shares = np.array([g.share for g in case.passer.gaits])
    gait = rng.choice(len(shares), size=n, p=shares / shares.sum())
    median = np.array([g.median_mps for g in case.passer.gaits])[gait]
    sigma = np.array([g.sigma_ln for g in case.passer.gaits])[gait]
    v = median * np.exp(sigma * rng.standard_normal(n))
    warm = case.contrast_k * np.exp(case.contrast_spread_ln * rng.standard_normal(n))
    sign = np.where(rng.random(n) < case.forward_share, 1.0, -1.0)
    between = a - np.radians(sensor.rays_deg)
    between = between[np.sin(between) > 1e-6]
    away, middle = q / np.sin(between), q / np.tan(between)
    cover = body.length_m / 2 + body.width_m / 2 * np.abs(1 / np.tan(between))
    width = body.length_m * np.sin(between) + body.width_m * np.abs(np.cos(between))
    f = v[:, None] * np.sin(between) / (2 * math.radians(sensor.true_pitch_deg) * away)

    def gain(f: np.ndarray | float) -> np.ndarray:
        return 1 / np.sqrt(1 + (sensor.low_hz / f) ** 2) / np.sqrt(1 + (f / sensor.high_hz) ** 2)

    signal = warm[:, None] * body.height_m * width / away**2 * gain(f) / gain(1.0)
    trips = signal >= 0.83 * 5 / (sensor.range_m**2 * sensor.sensitivity)
    trips = np.concatenate([trips, trips], axis=1)
    at = sign[:, None] * np.concatenate([middle, middle]) + np.concatenate([-cover, cover])
    order = np.argsort(at, axis=1)
    at, trips = np.take_along_axis(at, order, axis=1), np.take_along_axis(trips, order, axis=1)
    spans = crossing.spans(np.array([q]), np.array([a]), view=case.view, body=body)
    listens = np.full(n, -np.inf)
    fired, got_middle, got_whole = (np.zeros(n, dtype=bool) for _ in range(3))
    for k in range(at.shape[1]):
        fires = trips[:, k] & (at[:, k] >= listens)
        delay = timing.trigger_s * np.exp(timing.jitter_ln * rng.standard_normal(n))
        for frame in range(timing.frames):
            s = sign * (at[:, k] + v * (delay + frame * timing.gap_s))
            got_middle |= fires & (s >= spans.middle[0]) & (s <= spans.middle[1])
            got_whole |= fires & (s >= spans.whole[0]) & (s <= spans.whole[1])
        last = (timing.frames - 1) * timing.gap_s + timing.rearm_s
        listens = np.where(fires, at[:, k] + v * (delay + last), listens)
        fired |= fires
    return float(fired.mean()), float(got_middle.mean()), float(got_whole.mean())


def speed() -> None:
    """Side by side, in turns."""
    print("| case | ours, passes/s | plain NumPy, passes/s | ratio | middle in a frame: ours, plain |")
    print("|---|---|---|---|---|")
    cases = {
        "45°, 4 m, one frame, re-arm 5 s": Case(),
        "the same, burst of three": Case(timing=Timing(frames=3)),
        "90°, re-arm 1 s": Case(path=Path(offset_m=4, angle_deg=90), timing=Timing(rearm_s=1.0)),
        "45°, one in three stands still once": Case(passer=replace(DEER, pause_chance=0.33)),
    }
    for name, case in cases.items():
        ready, rng = Walkbys(case), np.random.default_rng(1)
        ours, other = [], []
        for _ in range(7):
            begin = time.process_time()
            tally = ready.more(262_144)
            ours.append((time.process_time() - begin) / 262_144)
            begin = time.process_time()
            shares = plain(case, 65_536, rng)
            other.append((time.process_time() - begin) / 65_536)
        mine, theirs = statistics.median(ours), statistics.median(other)
        # The plain version knows no pauses; it is then a yardstick of time alone.
        both = "–" if case.passer.pause_chance else f"{tally.middle / tally.passes:.3f}, {shares[1]:.3f}"
        print(f"| {name} | {1 / mine / 1e6:.1f} M | {1 / theirs / 1e6:.2f} M | {theirs / mine:.0f} | {both} |")
    begin = time.process_time()
    open_ground(Case(), passes=32_768, within_m=30)
    lines = 32_768 / (time.process_time() - begin) / 1e6
    print(f"\nopen ground, every pass on a line of its own: {lines:.2f} M/s")
    begin = time.process_time()
    visits(StayCase(), number=16_384)
    print(f"visits at a feeding map: {16_384 / (time.process_time() - begin) / 1e6:.2f} M/s")


def first() -> None:
    """The first answer, in this process and in fresh ones."""
    first_answer(Case())
    took = []
    for angle in range(5, 90):
        begin = time.process_time()
        first_answer(Case(path=Path(offset_m=4, angle_deg=angle)))
        took.append((time.process_time() - begin) * 1e3)
    print(f"\nfirst answer (16 384 passes): median {statistics.median(took):.1f} ms, worst {max(took):.1f} ms")
    cold = [
        tuple(float(x) for x in subprocess.check_output([sys.executable, "-c", COLD], text=True).split())
        for _ in range(9)
    ]
    wall = statistics.median(c[0] for c in cold) * 1e3
    cpu = statistics.median(c[1] for c in cold) * 1e3
    print(f"fresh process, import and first answer: {wall:.0f} ms by the clock; {cpu:.0f} ms of processor "
          "time with Python's own start")  # fmt: skip


def battery(found: Chances) -> str:
    empty = found.empty.value if found.empty else math.nan
    return f"{found.middle.value:.2f}/{found.whole.value:.2f}/{empty:.2f}"


def tables() -> None:
    """The tables of docs/models/walkby.md."""
    n = 100_000
    print("\n### Angle to the path, by gait, trigger time, burst and offset\n")
    print("| gait | trigger time | frames | offset | 30° | 45° | 60° | 90° | 45° less 90°, whole |")
    print("|---|---|---|---|---|---|---|---|---|")
    for offset in (4, 8):
        for frames in (1, 3):
            for label, gaits in (("walk", (WALK,)), ("trot", (TROT,)), ("run", (RUN,)), ("mixed", MIXED)):
                for delay in (0.25, 0.5, 1.0, 2.0):
                    answers = [
                        first_answer(
                            Case(
                                passer=replace(DEER, gaits=gaits),
                                path=Path(offset_m=offset, angle_deg=angle),
                                timing=Timing(trigger_s=delay, frames=frames),
                            ),
                            passes=n,
                        )
                        for angle in (30, 45, 60, 90)
                    ]
                    gap = answers[1].whole.value - answers[3].whole.value
                    print(
                        f"| {label} | {delay:g} s | {frames} | {offset} m | "
                        + " | ".join(battery(x) for x in answers)
                        + f" | {gap:+.2f} |"
                    )
    print("\n### Best angle by offset (mixed gaits, burst of three)\n")
    print("| offset | trigger 2 s: best, from–to | whole, 90° | trigger 0.25 s: best, from–to | whole, 90° |")
    print("|---|---|---|---|---|")
    for offset in (2, 3, 4, 5, 6, 8, 10, 12):
        row = []
        for delay in (2.0, 0.25):
            advice = angle_advice(
                Case(path=Path(offset_m=offset, angle_deg=45), timing=Timing(trigger_s=delay, frames=3)),
                passes=40_000,
            )
            row.append(
                f"{advice.best_deg:.0f}°, {advice.low_deg:.0f}–{advice.high_deg:.0f}° | "
                f"{advice.chance:.2f}, {advice.across:.2f}"
            )
        print(f"| {offset} m | " + " | ".join(row) + " |")
    print("\n### Zone and view: share of empty pictures (mixed, 0.25 s, one frame, view 41°)\n")
    print("| zone | 20° | 30° | 40° | 45° | 60° | 90° |")
    print("|---|---|---|---|---|---|---|")
    quick = Timing(trigger_s=0.25)
    zones = (20, 30, 40, 45, 60, 90)
    on_trail = [first_answer(Case(sensor=Sensor(zone_deg=z), timing=quick), passes=n) for z in zones]
    print("| trail, 45°, 4 m | " + " | ".join(f"{x.empty.value:.2f}" for x in on_trail if x.empty) + " |")
    print("| middle in a frame | " + " | ".join(f"{x.middle.value:.2f}" for x in on_trail) + " |")
    ground = [open_ground(Case(sensor=Sensor(zone_deg=z), timing=quick), within_m=30, passes=32_768) for z in zones]
    print("| open ground | " + " | ".join(f"{x.empty.value:.2f}" for x in ground if x.empty) + " |")
    print("\n### Triggered at all (45°, 5 m, contrast 2 K)\n")
    print("| sensitivity | hare | fox | deer | elk |")
    print("|---|---|---|---|---|")
    for level in (0.5, 1.0, 2.0):
        row = [
            first_answer(
                Case(
                    passer=passer,
                    contrast_k=2.0,
                    sensor=Sensor(sensitivity=level),
                    path=Path(offset_m=5, angle_deg=45),
                ),
                passes=n,
            ).triggered.value
            for passer in (HARE, FOX, DEER, ELK)
        ]
        print(f"| {level:g} | " + " | ".join(f"{x:.2f}" for x in row) + " |")
    print("\n### What hangs on assumptions: re-arm (90°, 4 m, 0.25 s, one frame) and ray pitch (2 s)\n")
    print("| re-arm | 0 s | 1 s | 5 s | 20 s |")
    print("|---|---|---|---|---|")
    rearms = [
        first_answer(
            Case(path=Path(offset_m=4, angle_deg=90), timing=Timing(trigger_s=0.25, rearm_s=s)), passes=n
        ).middle.value
        for s in (0, 1, 5, 20)
    ]
    print("| middle in a frame | " + " | ".join(f"{x:.2f}" for x in rearms) + " |\n")
    print("| ray pitch | 0° | 15° | 30° | 45° | 60° | 90° |")
    print("|---|---|---|---|---|---|---|")
    for pitch in (2.25, 5, 9, 15):
        row = [
            first_answer(
                Case(
                    path=Path(offset_m=4, angle_deg=angle),
                    sensor=Sensor(pitch_deg=pitch),
                    timing=Timing(trigger_s=2),
                ),
                passes=n,
            )
            for angle in (0, 15, 30, 45, 60, 90)
        ]
        print(f"| {pitch:g}° | " + " | ".join(f"{x.middle.value:.2f}/{x.whole.value:.2f}" for x in row) + " |")
    print("\n### Feeding map: triggers a visit, share of visits seen\n")
    print("| near edge | re-arm 1 s | 10 s | 60 s | 300 s |")
    print("|---|---|---|---|---|")
    for near in (5.0, 7.5, 10.0):
        row = [
            visits(StayCase(stay=Stay(near_m=near), timing=Timing(rearm_s=s)), number=8_192) for s in (1, 10, 60, 300)
        ]
        print(f"| {near:g} m | " + " | ".join(f"{x.triggers.value:.1f}, {x.seen.value:.2f}" for x in row) + " |")


def calibrate(cameras: int) -> None:
    """How often the 90 % intervals of a walk test hold the truth, by the tests' slow simulation."""
    root = FilePath(__file__).resolve().parents[1]
    sys.path[:0] = [str(root / "tests" / "support"), str(root / "tests" / "planning")]
    import test_calibrate as field_work

    from trod.planning.catch.calibrate import AXES, walk_test

    rng = np.random.default_rng(8)
    ranges = {"trigger_s": (0.15, 4.0), "zone_deg": (18, 100), "range_m": (7, 40)}
    plans = {
        "16 walks, one speed, straight across": field_work.one_speed,
        "24 walks, five speeds, four lines": field_work.many_speeds,
        "the same and 15 walks far off": lambda f: field_work.many_speeds(f) + field_work.far_walks(f),
    }
    held = {plan: dict.fromkeys(AXES, 0) for plan in plans}
    wide: dict[str, dict[str, list[float]]] = {plan: {axis: [] for axis in AXES} for plan in plans}
    for number in range(cameras):
        truth = {axis: float(np.exp(rng.uniform(math.log(low), math.log(high)))) for axis, (low, high) in ranges.items()}
        field = field_work.Field(truth, 100 + number)
        for plan, walks in plans.items():
            found = walk_test(walks(field))
            for axis in AXES:
                band = found.band(axis)
                held[plan][axis] += band.low <= truth[axis] <= band.high
                wide[plan][axis].append(band.high / band.low)
    print(f"\n{cameras} cameras drawn by chance; 90 % intervals: share that holds the truth, median high/low\n")
    print("| walks | trigger time | detection angle | detection range |")
    print("|---|---|---|---|")
    for plan in plans:
        row = [f"{held[plan][a] / cameras:.2f}, ×{statistics.median(wide[plan][a]):.1f}" for a in AXES]
        print(f"| {plan} | " + " | ".join(row) + " |")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--tables", action="store_true")
    parser.add_argument("--calibrate", type=int, default=0, metavar="CAMERAS")
    options = parser.parse_args()
    if options.calibrate:
        calibrate(options.calibrate)
    elif options.tables:
        tables()
    else:
        speed()
        first()
