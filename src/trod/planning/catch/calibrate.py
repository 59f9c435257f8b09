"""What evidence from the field says of a camera's trigger time, zone and range, beside its maker's claims.

Two kinds of evidence: a walk test (who walked which line, how fast, and what the first picture showed) and a
deployment's own first pictures (how many are empty, cut, whole). Each narrows a grid of possible cameras by
its likelihood, worked out with the sensor's model of `detection` and the geometry of `crossing`. Two pieces
of evidence about one camera are joined by `&`.

What can be told apart: for one speed straight across, a slow trigger and a wide zone look the same, because
only τ·v against the zone's edge is seen. A second speed or angle parts them; `Calibration.two_for_one` says so
when it is missing. Range shows only where walks were far enough off not to fire every time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from trod.errors import NotEnoughEvidence, WrongInput, positive
from trod.planning.catch import crossing
from trod.planning.catch.crossing import Path, View
from trod.planning.catch.detection import CONTRAST_SPREAD_LN, REFERENCE_CONTRAST_K, Sensor
from trod.planning.catch.passers import PERSON, Body, Gait, Passer
from trod.planning.catch.walkby import Case, pulses_of

Floats = NDArray[np.float64]
Shown = Literal["none", "empty", "coming", "whole", "going", "cut"]
Axis = Literal["trigger_s", "zone_deg", "range_m"]
AXES: tuple[Axis, ...] = get_args(Axis)
# No figure is told finer than this.
STEPS: dict[Axis, float] = {"trigger_s": 0.05, "zone_deg": 1.0, "range_m": 1.0}
# The order of the categories inside: no picture, empty, only the fore part in, whole, only the hind part in.
_KINDS = ("none", "empty", "coming", "whole", "going")
# So often a walk is noted wrongly, or does what no model says. Assumed.
SETUP_SHEET = 0.04
DRAWS = 240
# A deployment's pictures are not independent (the same animals, the same days) and the model is not exact:
# so many of them count for one. Assumed.
PICTURES_PER_WITNESS = 3.0
TOLD = 0.6  # a figure counts as told when its spread falls below this share of what it was before
LINKED = 0.6  # figures correlated more than this can stand for each other


@dataclass(frozen=True, kw_only=True)
class Walk:
    """One walk past the camera and what its first picture showed.

    shown : "none" no picture came; "empty" nobody in it; "coming" only the fore part is in yet; "whole" at
    least 80 % of the walker; "going" only the hind part is in still; "cut" either of the two.
    forward : the walker went the way of growing s (for paths under 90°, away from the camera).
    speed_mps : as paced or measured; speed_doubt_ln : its doubt, as a standard deviation of ln(speed).
    """

    path: Path
    speed_mps: float
    shown: Shown
    forward: bool = True
    speed_doubt_ln: float = 0.10

    def __post_init__(self) -> None:
        positive("speed_mps", self.speed_mps)
        positive("speed_doubt_ln", self.speed_doubt_ln, needed="a number, 0 or more", zero=True)
        if self.shown not in get_args(Shown):
            raise WrongInput("shown", got=self.shown, needed="one of " + ", ".join(get_args(Shown)))


@dataclass(frozen=True, kw_only=True)
class FirstPictures:
    """How many first pictures of a deployment's sequences show what; blanks by wind and the like within `empty`.

    other_blanks : the share of all sequences that no animal caused lies between these two; all between is
    taken as equally likely.
    """

    empty: int
    cut: int
    whole: int
    other_blanks: tuple[float, float] = (0.0, 0.3)

    def __post_init__(self) -> None:
        for what in ("empty", "cut", "whole"):
            positive(what, getattr(self, what), needed="a number of pictures, 0 or more", zero=True)
        low, high = self.other_blanks
        if not 0 <= low <= high < 1:
            raise WrongInput("other_blanks", got=self.other_blanks, needed="two shares, 0 ≤ low ≤ high < 1")


def _steps(low: float, high: float, number: int) -> tuple[float, ...]:
    return tuple(float(x) for x in np.geomspace(low, high, number))


@dataclass(frozen=True, kw_only=True)
class Grid:
    """The cameras held possible beforehand, all equally likely.

    Every mix of these figures, in steps of equal ratio, so that half and double are alike.
    """

    trigger_s: tuple[float, ...] = _steps(0.1, 5.0, 28)
    zone_deg: tuple[float, ...] = _steps(15.0, 110.0, 16)
    range_m: tuple[float, ...] = _steps(6.0, 45.0, 9)

    def __post_init__(self) -> None:
        for what in AXES:
            values = getattr(self, what)
            if len(values) < 1 or any(not b > a > 0 for a, b in pairwise(values)):
                raise WrongInput(what, got=values, needed="rising numbers above 0")

    @property
    def shape(self) -> tuple[int, int, int]:
        """(trigger times, zones, ranges)."""
        return len(self.trigger_s), len(self.zone_deg), len(self.range_m)


@dataclass(frozen=True, kw_only=True)
class Band:
    """A figure as the field tells it: 9 chances in 10 between low and high."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class Calibration:
    """What evidence leaves of a grid of cameras. log_likelihood : (trigger times, zones, ranges).

    pieces : how many walks or pictures it rests on, in words.
    """

    grid: Grid
    log_likelihood: Floats
    pieces: tuple[str, ...] = ()

    def __and__(self, other: Calibration) -> Calibration:
        if other.grid != self.grid:
            raise WrongInput("grid", got="two different grids", needed="evidence worked out on one grid")
        return Calibration(self.grid, self.log_likelihood + other.log_likelihood, self.pieces + other.pieces)

    @property
    def posterior(self) -> Floats:
        """The chance of each camera of the grid; sums to 1."""
        chance = np.exp(self.log_likelihood - self.log_likelihood.max())
        return np.asarray(chance / chance.sum())

    def marginal(self, axis: Axis) -> Floats:
        """The chances of one figure's steps."""
        number = AXES.index(axis)
        others = tuple(i for i in range(3) if i != number)
        return np.asarray(self.posterior.sum(axis=others))

    def band(self, axis: Axis, *, level: float = 0.90) -> Band:
        """One figure with its interval, read between the grid's steps."""
        values = np.log(np.array(getattr(self.grid, axis)))
        if values.size == 1:
            only = float(np.exp(values[0]))
            return Band(low=only, middle=only, high=only)
        half = np.diff(values) / 2
        edges = np.concatenate([[values[0] - half[0]], values[:-1] + half, [values[-1] + half[-1]]])
        reached = np.concatenate([[0.0], np.cumsum(self.marginal(axis))])
        wanted = [(1 - level) / 2, 0.5, (1 + level) / 2]
        low, middle, high = (float(np.exp(np.interp(share, reached, edges))) for share in wanted)
        return Band(low=low, middle=middle, high=high)

    def spread_left(self, axis: Axis) -> float:
        """How much of the doubt about a figure is left: its spread after over its spread before."""
        values = np.log(np.array(getattr(self.grid, axis)))
        before = float(values.std())
        if before == 0:
            return 1.0
        chance = self.marginal(axis)
        mean = float(chance @ values)
        return math.sqrt(max(float(chance @ (values - mean) ** 2), 0.0)) / before

    def told(self, axis: Axis) -> bool:
        """Whether the evidence says something worth telling about a figure."""
        return self.spread_left(axis) < TOLD

    def linked(self, one: Axis, two: Axis) -> float:
        """The correlation of two figures' logarithms: far from 0 means that one can stand for the other."""
        table = self.posterior.sum(axis=next(i for i in range(3) if AXES[i] not in (one, two)))
        if AXES.index(one) > AXES.index(two):
            table = table.T
        x, y = (np.log(np.array(getattr(self.grid, axis))) for axis in (one, two))
        dx, dy = x - table.sum(axis=1) @ x, y - table.sum(axis=0) @ y
        spread = math.sqrt(float(table.sum(axis=1) @ dx**2) * float(table.sum(axis=0) @ dy**2))
        return float(dx @ table @ dy) / spread if spread > 0 else 0.0

    @property
    def two_for_one(self) -> bool:
        """Whether trigger time and detection angle stand for each other: only another speed or angle parts them."""
        wide = max(self.spread_left("trigger_s"), self.spread_left("zone_deg"))
        return self.linked("trigger_s", "zone_deg") > LINKED and wide > TOLD / 2

    def agrees(self, axis: Axis, claim: float) -> bool:
        """Whether a maker's claim fits; one that is printed as the band's end does."""
        band, half = self.band(axis), STEPS[axis] / 2
        return band.low - half <= claim <= band.high + half


@dataclass(frozen=True)
class _Firsts:
    """Where simulated passes first fire the camera, and their speeds; inf where they never do. (draws,)"""

    at_m: Floats
    speed: Floats


def _first_pulses(case: Case, forward: bool, log_speed: Floats, warm_sq: Floats) -> _Firsts:
    angle = math.radians(case.path.angle_deg)
    pulses = pulses_of(
        case,
        np.array([case.path.offset_m]),
        np.array([angle if forward else math.pi - angle]),
        most_contrast_k=math.sqrt(float(warm_sq.max())),
    )
    speed = np.exp(log_speed)
    fast, slow = speed * speed, np.exp(-2 * log_speed)
    need = pulses.level + pulses.slow * slow + pulses.fast * fast  # (pulses, draws)
    if not len(need):
        return _Firsts(np.full(speed.shape, np.inf), speed)
    trips = need <= warm_sq
    first = np.argmax(trips, axis=0)
    at = np.where(trips.any(axis=0), pulses.at_m[:, 0][first], np.inf)
    return _Firsts(at.astype(np.float64), speed)


def _kinds(firsts: _Firsts, spans: crossing.Spans, forward: bool, delays: Floats) -> Floats:
    """The shares of the five kinds of first picture by trigger time. (trigger times, 5)

    delays : (trigger times, draws), jitter included. [s]
    """

    def span(pair: tuple[Floats, Floats]) -> tuple[float, float]:
        low, high = float(pair[0][0]), float(pair[1][0])
        return (low, high) if forward else (-high, -low)

    part, whole = span(spans.part), span(spans.whole)
    s = firsts.at_m + firsts.speed * delays
    none = np.isinf(s)
    in_part = (s > part[0]) & (s < part[1])
    in_whole = in_part & (s >= whole[0]) & (s <= whole[1])
    # Before the view's middle a body that is not wholly in has only its fore part in.
    early = s < (part[0] + part[1]) / 2
    kinds = (
        none,
        ~none & ~in_part,
        in_part & ~in_whole & early,
        in_whole,
        in_part & ~in_whole & ~early,
    )
    return np.stack([kind.mean(axis=1) for kind in kinds], axis=1)


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is taken as known of the camera while the rest is sought.

    Its view and the other figures of its sensor (pitch, band, sensitivity), its jitter, and how much warmer the walker
    or animal is. [K]
    """

    view: View = field(default_factory=View)
    sensor: Sensor = field(default_factory=Sensor)
    jitter_ln: float = 0.15
    contrast_k: float = REFERENCE_CONTRAST_K
    contrast_spread_ln: float = CONTRAST_SPREAD_LN


def _table(
    known: Known,
    grid: Grid,
    passer: Passer,
    path: Path,
    log_speed: Floats,
    forward: bool,
    rng: np.random.Generator,
) -> Floats:
    """The chances of the five kinds of first picture over the grid. (trigger times, zones, ranges, 5)"""
    n = log_speed.size
    warm = known.contrast_k * np.exp(known.contrast_spread_ln * _normal(n, rng))
    jitter = np.exp(known.jitter_ln * _normal(n, rng))
    delays = np.array(grid.trigger_s)[:, None] * jitter
    spans = crossing.spans(np.array([path.offset_m]), np.radians([path.angle_deg]), view=known.view, body=passer.body)
    table = np.empty((*grid.shape, len(_KINDS)))
    case = Case(passer=passer, path=path, view=known.view)
    for j, zone in enumerate(grid.zone_deg):
        for k, reach in enumerate(grid.range_m):
            sensor = replace(known.sensor, zone_deg=zone, range_m=reach)
            firsts = _first_pulses(replace(case, sensor=sensor), forward, log_speed, warm**2)
            table[:, j, k, :] = _kinds(firsts, spans, forward, delays)
    return table


def _normal(n: int, rng: np.random.Generator) -> Floats:
    """n standard normal numbers, evened out by pairs of opposite sign."""
    half = rng.standard_normal((n + 1) // 2)
    both = np.concatenate([half, -half])[:n]
    rng.shuffle(both)
    return both


def walk_test(
    walks: Sequence[Walk],
    *,
    known: Known | None = None,
    grid: Grid | None = None,
    body: Body = PERSON.body,
    draws: int = DRAWS,
    seed: int = 1,
) -> Calibration:
    """What a walk test says of the camera.

    known : what is taken as known; its contrast is the walker's, see `detection.contrast_k`. draws : imagined
    repeats of each walk. Raises NotEnoughEvidence without a single walk.
    Notes : the likelihood of a walk is the share of its imagined repeats that end as it did, mixed with 4 %
    of walks that may end in any way, so that one set-up sheet of the pencil cannot exclude the truth.
    """
    if not walks:
        raise NotEnoughEvidence("no walk was noted", need="walk past the camera a few times and note each")
    known, grid = known or Known(), grid or Grid()
    rng = np.random.Generator(np.random.SFC64(seed))
    total = np.zeros(grid.shape)
    tables: dict[tuple[Path, float, bool, float], Floats] = {}
    for walk in walks:
        key = (walk.path, walk.speed_mps, walk.forward, walk.speed_doubt_ln)
        if key not in tables:
            gait = Gait(share=1, median_mps=walk.speed_mps, sigma_ln=walk.speed_doubt_ln)
            passer = Passer(name="the walker", body=body, gaits=(gait,))
            log_speed = math.log(walk.speed_mps) + walk.speed_doubt_ln * _normal(draws, rng)
            tables[key] = _table(known, grid, passer, walk.path, log_speed, walk.forward, rng)
        total += np.log((1 - SETUP_SHEET) * _share_of(tables[key], walk.shown) + SETUP_SHEET / len(_KINDS))
    return Calibration(grid, total, (f"{len(walks)} walks" if len(walks) > 1 else "1 walk",))


def _share_of(table: Floats, shown: Shown) -> Floats:
    if shown == "cut":
        return np.asarray(table[..., _KINDS.index("coming")] + table[..., _KINDS.index("going")])
    return np.asarray(table[..., _KINDS.index(shown)])


FEWEST_PICTURES = 30


def from_pictures(
    found: FirstPictures,
    *,
    passer: Passer,
    path: Path,
    known: Known | None = None,
    grid: Grid | None = None,
    draws: int = 600,
    seed: int = 1,
) -> Calibration:
    """What a deployment's own first pictures say of its camera.

    found : first pictures of its sequences. passer, path : what usually passes, and where.
    Raises NotEnoughEvidence under 30 first pictures.
    Notes : multinomial in empty, cut and whole given that the camera fired, three pictures counting as one
    because they are not independent; the unknown share of blanks by wind is averaged over. Weaker than a
    walk test, since path and speeds are only supposed.
    """
    number = found.empty + found.cut + found.whole
    if number < FEWEST_PICTURES:
        raise NotEnoughEvidence(
            f"{number} first pictures", need=f"at least {FEWEST_PICTURES} say something about the camera"
        )
    known, grid = known or Known(), grid or Grid()
    rng = np.random.Generator(np.random.SFC64(seed))
    shares = np.array([gait.share for gait in passer.gaits])
    table = np.zeros((*grid.shape, len(_KINDS)))
    for forward in (True, False):
        counts = np.maximum(1, np.round(draws / 2 * shares / shares.sum())).astype(int)
        parts = [
            math.log(gait.median_mps) + gait.sigma_ln * _normal(int(count), rng)
            for gait, count in zip(passer.gaits, counts, strict=True)
        ]
        table += _table(known, grid, passer, path, np.concatenate(parts), forward, rng) / 2
    fired = 1 - table[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        by_animals = np.where(fired[..., None] > 0, table / fired[..., None], 1 / 4)
    empty, whole = by_animals[..., 1], by_animals[..., 3]
    cut = by_animals[..., 2] + by_animals[..., 4]
    counts_seen = np.array([found.empty, found.cut, found.whole]) / PICTURES_PER_WITNESS
    logs = []
    for blank in np.linspace(*found.other_blanks, 7):
        parts_seen = (blank + (1 - blank) * empty, (1 - blank) * cut, (1 - blank) * whole)
        logs.append(
            sum(
                n * np.log((1 - SETUP_SHEET) * p + SETUP_SHEET / 3) for n, p in zip(counts_seen, parts_seen, strict=True)
            )
        )
    stacked = np.stack(logs)
    top = stacked.max(axis=0)
    total = top + np.log(np.exp(stacked - top).mean(axis=0))
    return Calibration(grid, np.asarray(total), (f"{number} first pictures",))
