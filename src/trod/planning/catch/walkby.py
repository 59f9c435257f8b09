"""Walk-bys: what a camera makes of animals that pass, by simulating very many of them.

Each pass goes straight along a path at its own speed (`crossing` draws the plan). Wherever an edge of the
body crosses a ray of the sensor a pulse arises (`detection`); a pulse above the threshold fires the camera if
it is listening; pictures follow after the trigger time, and after the last one the camera is deaf for its
recovery time. So an animal may fire it several times in one pass.

How it is made quick: the path is straight, so where pulses arise, how strong they are for a body one kelvin
warmer than its background, and where the animal must be to be in the picture are the same for all passes of
a path. What differs is speed, warmth and jitter. A pass is then a handful of comparisons for each ray, done
for thousands of passes at once, and only passes that fire are looked at further.

Wherever this text says frame it means one picture of a burst.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, fields, replace

import numpy as np
from numpy.typing import NDArray

from trod.errors import Stopped, WrongInput, positive
from trod.planning.catch import crossing
from trod.planning.catch.crossing import Path, View
from trod.planning.catch.detection import (
    CONTRAST_SPREAD_LN,
    REFERENCE_AREA_M2,
    REFERENCE_CONTRAST_K,
    REFERENCE_HZ,
    Sensor,
)
from trod.planning.catch.passers import DEER, Passer

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

FIRST_PASSES = 16_384
CHUNK = 8_192  # passes worked on at once: their arrays stay in the processor's cache
OPEN_CHUNK = 1_024  # the same where each pass has its own path, and so its own geometry


@dataclass(frozen=True, kw_only=True)
class Timing:
    """A camera's times. trigger_s : from the pulse to the first frame, with a lognormal jitter.

    frames : in a burst. gap_s : between its frames. rearm_s : from the last frame until it listens again.
    """

    trigger_s: float = 0.5
    frames: int = 1
    gap_s: float = 0.7
    rearm_s: float = 5.0
    jitter_ln: float = 0.15

    def __post_init__(self) -> None:
        positive("trigger_s", self.trigger_s, needed="seconds, 0 or more", zero=True)
        positive("gap_s", self.gap_s, needed="seconds, 0 or more", zero=True)
        positive("rearm_s", self.rearm_s, needed="seconds, 0 or more", zero=True)
        positive("jitter_ln", self.jitter_ln, needed="a number, 0 or more", zero=True)
        if not (isinstance(self.frames, int) and 1 <= self.frames <= 100):
            raise WrongInput("frames", got=self.frames, needed="a whole number of frames from 1 to 100")


@dataclass(frozen=True, kw_only=True)
class Case:
    """One question to the simulation: this camera, this path, this kind of animal, this air.

    contrast_k : how much warmer the animal is than its background, the median; see `detection.contrast_k`.
    forward_share : of the passes that go the way of growing s, for `angle_deg` < 90 away from the camera.
    """

    passer: Passer = DEER
    path: Path = field(default_factory=lambda: Path(offset_m=4.0, angle_deg=45.0))
    sensor: Sensor = field(default_factory=Sensor)
    view: View = field(default_factory=View)
    timing: Timing = field(default_factory=Timing)
    contrast_k: float = REFERENCE_CONTRAST_K
    contrast_spread_ln: float = CONTRAST_SPREAD_LN
    forward_share: float = 0.5

    def __post_init__(self) -> None:
        positive("contrast_k", self.contrast_k)
        positive("contrast_spread_ln", self.contrast_spread_ln, needed="a number, 0 or more", zero=True)
        if not 0 <= self.forward_share <= 1:
            raise WrongInput("forward_share", got=self.forward_share, needed="a share from 0 to 1")


@dataclass(frozen=True)
class Estimate:
    """A simulated number and its standard error."""

    value: float
    standard_error: float

    def __str__(self) -> str:
        return f"{self.value:.3f} ± {self.standard_error:.3f}"


@dataclass(frozen=True)
class Tally:
    """Sums over simulated passes; two of them add up, so answers can be refined."""

    passes: int = 0
    triggered: int = 0
    middle: int = 0
    whole: int = 0
    triggers: float = 0.0
    triggers_sq: float = 0.0
    empty: float = 0.0
    empty_sq: float = 0.0
    empty_triggers: float = 0.0
    cut: float = 0.0
    cut_sq: float = 0.0
    cut_triggers: float = 0.0
    pixels: float = 0.0
    pixels_sq: float = 0.0
    frames: int = 1

    def __add__(self, other: Tally) -> Tally:
        summed = {f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self) if f.name != "frames"}
        return Tally(**summed, frames=other.frames)


@dataclass(frozen=True, kw_only=True)
class Chances:
    """What comes of a pass, each with its standard error.

    triggered : the camera fires at all. middle : the animal's middle is in some frame. whole : at least 80 %
    of its body is in some frame. empty : of the frames, those with nothing of the animal in them; cut : those
    with less than 80 % of it. pixels : along the body in the best frame of a pass whose middle is in one.
    triggers : for each pass. None where no pass gave any frame.
    """

    passes: int
    triggered: Estimate
    middle: Estimate
    whole: Estimate
    triggers: Estimate
    empty: Estimate | None
    cut: Estimate | None
    pixels: Estimate | None


def in_words(share: float) -> str:
    """A share as so many in a hundred, no finer than the model deserves: "about 65", "nearly all", "none"."""
    hundredths = 100 * share
    if hundredths < 1:
        return "none" if hundredths < 0.05 else "hardly any"
    if hundredths > 99:
        return "all" if hundredths > 99.95 else "nearly all"
    step = 5 if 12 <= hundredths <= 88 else 1
    return f"about {step * round(hundredths / step):.0f}"


def chances(tally: Tally) -> Chances:
    """The chances and their standard errors from the sums.

    Notes : shares of passes by the binomial with half a pass added to either side, so that none of many is
    not shown as certain; ratios by the delta method. Gaits and directions are drawn in fixed proportion,
    which makes the true errors a little smaller.
    """
    n = tally.passes
    if n < 1:
        raise WrongInput("passes", got=n, needed="at least one simulated pass")

    def share(count: int) -> Estimate:
        soft = (count + 0.5) / (n + 1)
        return Estimate(count / n, math.sqrt(soft * (1 - soft) / n))

    def mean(total: float, squares: float, of: int) -> Estimate:
        value = total / of
        return Estimate(value, math.sqrt(max(squares / of - value * value, 0.0) / of))

    def of_frames(count: float, squares: float, mixed: float) -> Estimate | None:
        if not tally.triggers:
            return None
        frames = tally.triggers * tally.frames
        ratio = count / frames
        spread = (
            squares - 2 * ratio * mixed * tally.frames + ratio * ratio * tally.triggers_sq * tally.frames * tally.frames
        )
        return Estimate(ratio, math.sqrt(max(spread, 0.25)) / frames)

    return Chances(
        passes=n,
        triggered=share(tally.triggered),
        middle=share(tally.middle),
        whole=share(tally.whole),
        triggers=mean(tally.triggers, tally.triggers_sq, n),
        empty=of_frames(tally.empty, tally.empty_sq, tally.empty_triggers),
        cut=of_frames(tally.cut, tally.cut_sq, tally.cut_triggers),
        pixels=mean(tally.pixels, tally.pixels_sq, tally.middle) if tally.middle else None,
    )


@dataclass(frozen=True)
class Pulses:
    """The pulses of paths in the order in which a forward pass meets them, (pulses, paths or 1), float32.

    at_m : where the animal's middle is. A pulse trips the sensor when the square of the contrast [K²] is at
    least level + slow/v² + fast·v².
    """

    at_m: Singles
    level: Singles
    slow: Singles
    fast: Singles


def pulses_of(case: Case, offset_m: Floats, angle_rad: Floats, *, most_contrast_k: float) -> Pulses:
    """Where and how easily each ray is tripped, for paths (paths,), going forward.

    Pulses that no animal of at most most_contrast_k could trip, at whatever speed, are left out.
    Notes : at the ray of angle θ the path is ρ = q/sin c away, with c = a − θ. The body covers the ray while
    its middle is within L/2 + W/2·|cot c| of it, and shows it the width w = L·sin c + W·|cos c|; its edges
    cross sub-zones at f = v·sin c/(2ψρ). It trips when contrast·H·w/ρ²·g(f)/g(1 Hz) reaches that of the
    reference body at the maker's range. Squared, that is a linear form in v² and 1/v².
    """
    sensor, body = case.sensor, case.passer.body
    rays = np.radians(sensor.rays_deg)[:, None]
    between = np.asarray(angle_rad, float)[None, :] - rays
    sine, cosine = np.sin(between), np.cos(between)
    meets = sine > 1e-6
    safe = np.where(meets, sine, 1.0)
    q = np.asarray(offset_m, float)[None, :]
    away = q / safe
    middle = q * cosine / safe
    cover = body.length_m / 2 + body.width_m / 2 * np.abs(cosine) / safe
    width = body.length_m * safe + body.width_m * np.abs(cosine)
    # Signal for a contrast of one kelvin, in units of the threshold, before the electrical band.
    signal = (
        body.height_m * width / away**2 * sensor.sensitivity * sensor.range_m**2
        / (REFERENCE_AREA_M2 * REFERENCE_CONTRAST_K)
    )  # fmt: skip
    per_speed = safe / (2 * math.radians(sensor.true_pitch_deg) * away)  # f/v
    low, high = sensor.low_hz, sensor.high_hz
    at_reference = 1 / ((1 + (low / REFERENCE_HZ) ** 2) * (1 + (REFERENCE_HZ / high) ** 2))
    scale = at_reference / signal**2
    level = scale * (1 + (low / high) ** 2)
    slow, fast = scale * (low / per_speed) ** 2, scale * (per_speed / high) ** 2
    hopeless = ~meets | (level + 2 * np.sqrt(slow * fast) > most_contrast_k**2)
    level = np.where(hopeless, np.inf, level)
    at = np.concatenate([middle - cover, middle + cover])
    level, slow, fast = (np.concatenate([each, each]) for each in (level, slow, fast))
    at = np.where(np.isinf(level), np.inf, at)
    order = np.argsort(at, axis=0)
    at, level, slow, fast = (np.take_along_axis(each, order, axis=0) for each in (at, level, slow, fast))
    useful = np.isfinite(level).any(axis=1)
    with np.errstate(over="ignore"):  # a pulse too weak for float32 is one that never trips
        packed = [each[useful].astype(np.float32) for each in (at, level, slow, fast)]
    return Pulses(*packed)


@dataclass(frozen=True)
class _Way:
    """One direction along paths, seen so that the animal always moves towards growing s."""

    pulses: Pulses
    middle: tuple[Singles, Singles]
    whole: tuple[Singles, Singles]
    part: tuple[Singles, Singles]
    depth_at_foot: Singles
    """The foot's depth along the camera's axis. [m]"""
    depth_per_m: Singles
    offset_m: Singles


def _way(
    case: Case,
    offset_m: Floats,
    angle_rad: Floats,
    spans: crossing.Spans,
    *,
    most_contrast_k: float,
    back: bool = False,
) -> _Way:
    """One direction along paths (paths,) with the spans they have going forward."""
    # A path at angle a gone backward is, mirrored in the axis, a path at π − a gone forward.
    angle = np.pi - angle_rad if back else angle_rad

    def span(pair: tuple[Floats, Floats]) -> tuple[Singles, Singles]:
        low, high = (-pair[1], -pair[0]) if back else pair
        return low.astype(np.float32), high.astype(np.float32)

    return _Way(
        pulses=pulses_of(case, offset_m, angle, most_contrast_k=most_contrast_k),
        middle=span(spans.middle),
        whole=span(spans.whole),
        part=span(spans.part),
        depth_at_foot=(offset_m * np.sin(angle)).astype(np.float32),
        depth_per_m=np.cos(angle).astype(np.float32),
        offset_m=offset_m.astype(np.float32),
    )


def _speeds(passer: Passer, n: int, rng: np.random.Generator) -> Singles:
    """ln(speed) of n passes, gait after gait, in proportion to the gaits' shares. (n,)"""
    speed = rng.standard_normal(n, dtype=np.float32)
    total = sum(gait.share for gait in passer.gaits)
    jog, done, begin = rng.random(), 0.0, 0
    for number, gait in enumerate(passer.gaits):
        done += gait.share / total
        # A random start of the count keeps the mean numbers of passes exactly in proportion.
        end = n if number == len(passer.gaits) - 1 else min(n, int(done * n + jog))
        speed[begin:end] *= np.float32(gait.sigma_ln)
        speed[begin:end] += np.float32(math.log(gait.median_mps))
        begin = end
    return speed


class _Pause:
    """Where each pass stands still, and how long, told as the way it would have gone meanwhile."""

    def __init__(self, way: _Way, passer: Passer, speed: Singles, rng: np.random.Generator) -> None:
        n = len(speed)
        pulses = way.pulses.at_m
        finite = pulses[np.isfinite(pulses)]
        low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 1.0)
        stands = rng.random(n, dtype=np.float32) < passer.pause_chance
        where = low + (high - low) * rng.random(n, dtype=np.float32)
        self.at: Singles = np.where(stands, where, np.float32(np.inf)).astype(np.float32)
        seconds = rng.standard_exponential(n, dtype=np.float32) * np.float32(passer.pause_mean_s)
        self.worth: Singles = seconds * speed

    def held(self, begin: Singles | np.float32, end: Singles, who: NDArray[np.intp]) -> Singles:
        """Where a pass really is that would have got from begin to end without its pause."""
        at = self.at[who]
        across = (begin <= at) & (end > at)
        return np.where(across, np.maximum(at, end - self.worth[who]), end)


def _go(case: Case, way: _Way, n: int, rng: np.random.Generator) -> Tally:
    """Simulate n passes one way. The way's arrays hold one path for all or one for each of the n passes."""
    timing, pulses = case.timing, way.pulses
    log_speed = _speeds(case.passer, n, rng)
    speed = np.exp(log_speed)
    warm_sq = rng.standard_normal(n, dtype=np.float32)
    warm_sq *= np.float32(2 * case.contrast_spread_ln)
    warm_sq += np.float32(2 * math.log(case.contrast_k))
    np.exp(warm_sq, out=warm_sq)
    fast = speed * speed
    slow = 1 / fast
    pause = _Pause(way, case.passer, speed, rng) if case.passer.pause_chance else None

    listens = np.full(n, -np.inf, dtype=np.float32)  # the place from which on the camera listens again
    fired = np.zeros(n, dtype=np.float32)
    empty = np.zeros(n, dtype=np.float32)
    cut = np.zeros(n, dtype=np.float32)
    got_middle = np.zeros(n, dtype=bool)
    got_whole = np.zeros(n, dtype=bool)
    best = np.zeros(n, dtype=np.float32)
    per_radian = np.float32(case.view.columns / (2 * math.tan(math.radians(case.view.fov_deg) / 2)))
    length, width = np.float32(case.passer.body.length_m), np.float32(case.passer.body.width_m)
    alone = len(way.offset_m) == 1
    need = np.empty(n, dtype=np.float32)
    term = np.empty(n, dtype=np.float32)

    for number in range(len(pulses.at_m)):
        at = pulses.at_m[number]
        np.multiply(slow, pulses.slow[number], out=need)
        np.multiply(fast, pulses.fast[number], out=term)
        need += term
        need += pulses.level[number]
        who = np.flatnonzero((need <= warm_sq) & (listens <= at))
        if not who.size:
            continue

        def of(values: Singles, who: NDArray[np.intp] = who) -> Singles | np.float32:
            chosen: Singles | np.float32 = values[0] if alone else values[who]
            return chosen

        here, v = of(at), speed[who]
        delay = rng.standard_normal(who.size, dtype=np.float32)
        delay *= np.float32(timing.jitter_ln)
        np.exp(delay, out=delay)
        delay *= np.float32(timing.trigger_s)
        fired[who] += 1
        last = np.float32((timing.frames - 1) * timing.gap_s + timing.rearm_s)
        free = here + v * (delay + last)
        listens[who] = free if pause is None else pause.held(here, free, who)
        for frame in range(timing.frames):
            s = here + v * (delay + np.float32(frame * timing.gap_s))
            if pause is not None:
                s = pause.held(here, s, who)
            whole = (s >= of(way.whole[0])) & (s <= of(way.whole[1]))
            part = (s > of(way.part[0])) & (s < of(way.part[1]))
            middle = (s >= of(way.middle[0])) & (s <= of(way.middle[1]))
            got_whole[who] |= whole
            got_middle[who] |= middle
            empty[who] += ~part
            cut[who] += part & ~whole
            depth = of(way.depth_at_foot) + s * of(way.depth_per_m)
            along = length * of(way.offset_m) + width * np.abs(s)
            with np.errstate(divide="ignore", invalid="ignore"):
                pixels = np.where(middle, per_radian * along / (depth * depth), np.float32(0))
            best[who] = np.maximum(best[who], pixels)

    def total(values: Singles) -> float:
        return float(values.sum(dtype=np.float64))

    def product(one: Singles, two: Singles) -> float:
        return float(np.dot(one, two))

    return Tally(
        passes=n,
        triggered=int(np.count_nonzero(fired)),
        middle=int(np.count_nonzero(got_middle)),
        whole=int(np.count_nonzero(got_whole)),
        triggers=total(fired),
        triggers_sq=product(fired, fired),
        empty=total(empty),
        empty_sq=product(empty, empty),
        empty_triggers=product(empty, fired),
        cut=total(cut),
        cut_sq=product(cut, cut),
        cut_triggers=product(cut, fired),
        pixels=total(best),
        pixels_sq=product(best, best),
        frames=timing.frames,
    )


class Walkbys:
    """A case made ready: its geometry is worked out once, then passes are simulated as many as wanted."""

    def __init__(self, case: Case, *, seed: int = 1) -> None:
        self.case = case
        self._rng = np.random.Generator(np.random.SFC64(seed))
        # Six standard deviations: no animal of a simulation is warmer.
        most = case.contrast_k * math.exp(6 * case.contrast_spread_ln)
        offset = np.array([case.path.offset_m])
        angle = np.radians([case.path.angle_deg])
        spans = crossing.spans(offset, angle, view=case.view, body=case.passer.body)
        self._there, self._back = (
            _way(case, offset, angle, spans, most_contrast_k=most, back=back) for back in (False, True)
        )
        self._owed = 0.5

    def more(self, passes: int) -> Tally:
        """Simulate so many further passes."""
        tally = Tally(frames=self.case.timing.frames)
        while passes > 0:
            n = min(passes, CHUNK)
            exact = n * self.case.forward_share + self._owed
            there = min(n, int(exact))
            self._owed = min(exact - there, 1.0)
            for way, count in ((self._there, there), (self._back, n - there)):
                if count:
                    tally += _go(self.case, way, count, self._rng)
            passes -= n
        return tally


def first_answer(case: Case, *, passes: int = FIRST_PASSES, seed: int = 1) -> Chances:
    """The quick answer for a page: a few milliseconds, standard errors below half a hundredth.

    The same seed gives the same answer, so that a slider moved to and fro does not flicker.
    """
    positive("passes", passes)
    return chances(Walkbys(case, seed=seed).more(passes))


def refine(
    case: Case,
    *,
    passes: int = 2_000_000,
    step: int = 250_000,
    seed: int = 1,
    stop: Callable[[], bool] = lambda: False,
) -> Iterator[Chances]:
    """Ever better answers, until so many passes are done. Raises Stopped when `stop` says so."""
    positive("passes", passes)
    positive("step", step)
    ready, tally = Walkbys(case, seed=seed), Tally(frames=case.timing.frames)
    while tally.passes < passes:
        if stop():
            raise Stopped(f"stopped after {tally.passes} of {passes} simulated passes")
        tally += ready.more(min(step, passes - tally.passes))
        yield chances(tally)


def open_ground(case: Case, *, passes: int = FIRST_PASSES, within_m: float, seed: int = 1) -> Chances:
    """Animals that come from anywhere on open map: straight lines at random; the case's path is not used.

    within_m : lines nearer to the camera than this; those farther off are taken not to matter. All chances
    are for lines within it: times 2·within_m they are widths of ground.
    Notes : a line's distance is uniform and its direction uniform, which is how random movement meets a
    point. Lines nearer than 0.3 m, through the camera's own tree, are left out.
    """
    positive("passes", passes)
    if not within_m > crossing.NEAREST_PATH_M:
        raise WrongInput("within_m", got=within_m, needed=f"metres above {crossing.NEAREST_PATH_M}")
    rng = np.random.Generator(np.random.SFC64(seed))
    most = case.contrast_k * math.exp(6 * case.contrast_spread_ln)
    tally = Tally(frames=case.timing.frames)
    while passes > 0:
        n = min(passes, OPEN_CHUNK)
        offset = rng.uniform(crossing.NEAREST_PATH_M, within_m, n)
        angle = rng.uniform(0.0, 2 * np.pi, n)
        # Most lines never come near enough to fire; they count as passes and need no further work.
        able = np.isfinite(pulses_of(case, offset, angle, most_contrast_k=most).level).any(axis=0)
        if able.any():
            offset, angle = offset[able], angle[able]
            spans = crossing.spans(offset, angle, view=case.view, body=case.passer.body)
            way = _way(case, offset, angle, spans, most_contrast_k=most)
            # Gaits lie block by block in the arrays and paths at random, so each gait has its share of paths.
            tally += _go(case, way, int(np.count_nonzero(able)), rng)
        tally += Tally(passes=int(n - np.count_nonzero(able)), frames=case.timing.frames)
        passes -= n
    return chances(tally)


@dataclass(frozen=True, kw_only=True)
class AngleAdvice:
    """The angles to the path that serve: from and to, with the best between. [°] chance : at the best.

    across : the chance straight across, for comparison. table : (angle, chance) of all that were tried.
    """

    low_deg: float
    best_deg: float
    high_deg: float
    chance: float
    across: float
    table: tuple[tuple[float, float], ...]


def angle_advice(
    case: Case,
    *,
    passes: int = 20_000,
    step_deg: float = 5.0,
    keep: float = 0.95,
    measure: Callable[[Chances], float] = lambda c: c.whole.value,
    seed: int = 1,
) -> AngleAdvice:
    """Which angle between path and axis serves best at the case's offset, as an interval.

    keep : angles with at least this share of the best chance belong to it. measure : what counts; the whole
    body in a frame unless told otherwise.
    """
    angles = np.arange(step_deg, 90.0 + step_deg / 2, step_deg)
    found: list[tuple[float, float]] = []
    for angle in angles:
        turned = replace(case, path=replace(case.path, angle_deg=float(angle)))
        found.append((float(angle), measure(first_answer(turned, passes=passes, seed=seed))))
    best = max(range(len(found)), key=lambda i: found[i][1])
    low = high = best
    floor = keep * found[best][1]
    while low > 0 and found[low - 1][1] >= floor:
        low -= 1
    while high < len(found) - 1 and found[high + 1][1] >= floor:
        high += 1
    return AngleAdvice(
        low_deg=found[low][0],
        best_deg=found[best][0],
        high_deg=found[high][0],
        chance=found[best][1],
        across=found[-1][1],
        table=tuple(found),
    )
