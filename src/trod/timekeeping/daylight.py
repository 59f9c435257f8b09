"""How far a camera's clock is out, told by when it went over to infrared and back.

A camera takes colour pictures by day and infrared (grey) ones by night. Whether a picture is grey depends on the
height of the sun at the *true* time; the clock says another time. So the offset is the one that lets the sun explain
which pictures are grey:

    chance of grey = e + (1 − 2e) / (1 + exp((h − threshold) / softness)),   h = height of the sun at (shown − fast)

with the threshold, the softness and the share e of wrong flags unknown and summed out. *Fast* is how far the clock
goes ahead of the true time, known only within a day: nothing here tells one day from the next, and a wrong year not
at all. What limits it is not the number of pictures but the place: where a hill or a wood makes it dark earlier on
one side, morning and evening do not mirror each other, and the offset moves by (half the difference) / (speed of the
sun), however many pictures there are. That doubt is in the interval, and so is that of clouds, which shift a whole
twilight at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod import sky
from trod.errors import WrongInput

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

DAY_MIN = 1440.0
# Sites where morning and evening differ are the rule; so much, in degrees of the sun's height, is thought before
# anything is seen (one standard deviation). Ours: real cameras were not measured.
ASYMMETRY_DEG = 0.75
# A cloudy evening goes over early by so much (one standard deviation, from one twilight to the next). Ours.
CLOUD_DEG = 0.7
# Pictures of one visit tell the same light once: one is kept when so long went by, or when its light differs.
APART_S = 120.0

# What is summed out. Ours, as wide as cameras under trees and in the open are thought to be.
THRESHOLDS_DEG = np.arange(-10.0, 1.01, 0.25)
SOFTNESSES_DEG = (0.15, 0.25, 0.4, 0.65, 1.0, 1.6)
WRONG_SHARES = (0.005, 0.02, 0.05)
FLAT_DEG, TAIL_DEG = (-8.5, -1.5), 0.7

# Heights of the sun are looked at in bins so wide; outside, all is night or all is day.
BIN_DEG, LOWEST_DEG, HIGHEST_DEG = 0.1, -22.0, 14.0
# The sun's height is worked out so often, and straight lines drawn between (at most 0.004° beside).
STEP_S = 300.0

# Nothing is told unless all of these hold. Ours, set by simulation (docs/models/camera-clock.md).
LEAST_GAIN = 10.0
LEAST_A_SIDE = 4
NEAR_DEG = 2.5
ELSEWHERE_MIN, MOST_ELSEWHERE = 45.0, 0.01
WIDEST_MIN = 15.0

Why = Literal["no pictures", "one light", "not the sun", "one side", "several offsets", "too wide", "no twilight"]


@dataclass(frozen=True, kw_only=True)
class CannotTell:
    """The pictures do not carry it.

    why : "no pictures"; "one light" (all grey or all colour); "no twilight" (the sun does not pass the height at which
    the camera goes over); "not the sun" (another reason than the sun explains the flags as well); "one side" (too few
    pictures near the going over in the morning or in the evening); "several offsets" fit; "too wide" an interval.
    pictures : kept after thinning. grey : of them. rising, falling : near the going over, in the morning and the
    evening. half_width_min : of the interval, where it came so far.
    """

    why: Why
    pictures: int
    grey: int
    rising: int = 0
    falling: int = 0
    half_width_min: float | None = None


@dataclass(frozen=True, kw_only=True)
class ByDaylight:
    """What the light says of a clock.

    fast_min : minutes the clock goes ahead of the true time, in (−720, 720]; below 0 it is slow. low_min, high_min :
    the 90 % interval around it, not wrapped (it may pass ±720). threshold_deg : height of the sun at which this camera
    goes over. speed_deg_per_min : of the sun there. at_the_edge : the threshold lies where none was expected, so
    something else may be at work. pictures, grey, rising, falling : as in `CannotTell`. gain : how much better the sun
    explains the flags than chance does, as a natural logarithm.
    """

    fast_min: float
    low_min: float
    high_min: float
    threshold_deg: float
    speed_deg_per_min: float
    at_the_edge: bool
    pictures: int
    grey: int
    rising: int
    falling: int
    gain: float

    @property
    def half_width_min(self) -> float:
        """Half the width of the interval."""
        return (self.high_min - self.low_min) / 2

    @property
    def agrees(self) -> bool:
        """Whether the clock may be right: 0 lies in the interval."""
        return self.low_min <= 0 <= self.high_min


@dataclass(frozen=True)
class Profile:
    """How well every offset of the day explains the flags.

    fast_min : (288,) from −720 in steps of 5. log_weight : (288,) natural logarithm, up to a constant. gain : as in
    `ByDaylight`.
    """

    fast_min: Floats
    log_weight: Floats
    gain: float

    def against_best(self, fast_min: float, within_min: float) -> float:
        """How far the best offset within so many minutes of `fast_min` lies below the best of all. [≤ 0, logarithm]"""
        beside = np.abs(np.mod(self.fast_min - fast_min + 720.0, DAY_MIN) - 720.0)
        return float(self.log_weight[beside <= within_min].max() - self.log_weight.max())


@dataclass(frozen=True)
class Sun:
    """The sun's height over a stretch of time at one place, looked up quickly.

    start_s : of the table, Unix seconds. heights_deg : one each STEP_S.
    """

    start_s: float
    heights_deg: Floats

    @classmethod
    def over(cls, first_s: float, last_s: float, *, latitude_deg: float, longitude_deg: float) -> Sun:
        """The table from a day before `first_s` to a day after `last_s`. [Unix s]"""
        start = first_s - 86_400.0
        at = start + STEP_S * np.arange(int((last_s - first_s + 2 * 86_400.0) / STEP_S) + 2)
        return cls(start, sky.sun_position(at, latitude_deg=latitude_deg, longitude_deg=longitude_deg)[0])

    def height_deg(self, utc_s: Floats) -> Floats:
        """Height of the sun at many instants inside the table. [°], shape of `utc_s`."""
        return np.asarray(np.interp(utc_s, self.start_s + STEP_S * np.arange(len(self.heights_deg)), self.heights_deg))


@dataclass(frozen=True)
class Parameters:
    """Every threshold, softness and wrong share, with the logarithms of the two chances in each bin of height."""

    threshold_deg: Floats
    log_prior: Floats
    log_chances: Floats  # (2 · bins, parameters): grey above colour


@cache
def parameters() -> Parameters:
    """The grid that is summed out."""
    threshold, soft, wrong = (
        x.ravel() for x in np.meshgrid(THRESHOLDS_DEG, SOFTNESSES_DEG, WRONG_SHARES, indexing="ij")
    )
    outside = np.maximum(0.0, np.maximum(FLAT_DEG[0] - threshold, threshold - FLAT_DEG[1]))
    prior = -0.5 * (outside / TAIL_DEG) ** 2
    prior -= np.log(np.exp(prior).sum())
    heights = LOWEST_DEG + BIN_DEG * np.arange(round((HIGHEST_DEG - LOWEST_DEG) / BIN_DEG) + 1)
    grey = wrong + (1 - 2 * wrong) / (1 + np.exp((heights[:, None] - threshold) / soft))
    return Parameters(threshold, prior, np.log(np.vstack([grey, 1 - grey])))


def thinned(shown_s: Floats, grey: Bools) -> NDArray[np.intp]:
    """Which pictures to keep, so that those of one visit count once.

    shown_s : by the clock, in order. grey : their light. Returns indices: the first, then each that comes APART_S
    after the last one kept or whose light is another.
    """
    keep: list[int] = []
    for i in range(len(shown_s)):
        if not keep or shown_s[i] - shown_s[keep[-1]] >= APART_S or grey[i] != grey[keep[-1]]:
            keep.append(i)
    return np.array(keep, dtype=np.intp)


def log_likelihood(shown_utc_s: Floats, grey: Bools, fast_min: Floats, sun: Sun) -> Floats:
    """How well each offset explains the flags, for every parameter.

    shown_utc_s : (n,) the clock's time turned to UTC by its one fixed offset. fast_min : (k, 1), or (k, n) where each
    picture has its own. Returns (k, parameters).
    """
    table = parameters().log_chances
    bins = len(table) // 2
    out = np.empty((len(fast_min), table.shape[1]))
    which = np.where(grey, 0, bins)
    for first in range(0, len(fast_min), 64):  # so that memory stays flat
        part = fast_min[first : first + 64]
        height = sun.height_deg(shown_utc_s[None, :] - 60.0 * part)
        at = np.clip((height - LOWEST_DEG) / BIN_DEG, 0.0, bins - 1.0)
        left = np.minimum(at.astype(np.intp), bins - 2)
        share = at - left
        row = np.arange(len(part))[:, None] * (2 * bins)
        many = len(part) * 2 * bins
        counts = np.bincount((row + which + left).ravel(), (1 - share).ravel(), many)
        counts += np.bincount((row + which + left + 1).ravel(), share.ravel(), many)
        out[first : first + 64] = counts.reshape(len(part), 2 * bins) @ table
    return out


def wrapped(minutes: float) -> float:
    """The same offset within a day, in (−720, 720]."""
    return float(720.0 - np.mod(720.0 - minutes, DAY_MIN))


def prepared(shown_s: ArrayLike, grey: ArrayLike, utc_offset_min: float) -> tuple[Floats, Bools]:
    """The clock's times as UTC and the flags, in order and thinned. Raises WrongInput as `clock_by_daylight` does."""
    shown = np.asarray(shown_s, dtype=np.float64) - 60.0 * utc_offset_min
    flag = np.asarray(grey, dtype=bool)
    if shown.shape != flag.shape or shown.ndim != 1:
        raise WrongInput("grey", got=flag.shape, needed=f"as many as there are times, {shown.shape}")
    if not np.isfinite(shown).all():
        raise WrongInput("shown_s", got="a time that is no number", needed="pictures with a time alone")
    order = np.argsort(shown, kind="stable")
    shown, flag = shown[order], flag[order]
    keep = thinned(shown, flag)
    return shown[keep], flag[keep]


def clock_by_daylight(
    shown_s: ArrayLike,
    grey: ArrayLike,
    *,
    utc_offset_min: float,
    latitude_deg: float,
    longitude_deg: float,
    asymmetry_deg: float = ASYMMETRY_DEG,
    cloud_deg: float = CLOUD_DEG,
) -> ByDaylight | CannotTell:
    """How far the clock was ahead, by the pictures of one stretch in which nobody set it.

    shown_s : (n,) seconds of the camera's own clock (`clock.raw_seconds`), any order. grey : (n,) True where the
    picture is infrared, told from its pixels. utc_offset_min : the one fixed offset that the clock is meant to keep;
    no summer time inside. latitude_deg, longitude_deg : of the site, east positive; a degree of longitude too far east
    makes the clock seem 4 minutes too fast. asymmetry_deg : how much morning and evening may differ there; 1.0 in a
    valley or under a wood on one side.
    Raises WrongInput for arrays of different length or times that are not numbers.
    Notes : within a day only; see the module's text.
    """
    shown, flag = prepared(shown_s, grey, utc_offset_min)
    n, dark = len(shown), int(flag.sum())
    if n == 0:
        return CannotTell(why="no pictures", pictures=0, grey=0)
    if dark in (0, n):
        return CannotTell(why="one light", pictures=n, grey=dark)
    sun = Sun.over(float(shown[0]), float(shown[-1]), latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    return _told(shown, flag, sun, asymmetry_deg=asymmetry_deg, cloud_deg=cloud_deg)


def log_sum(values: Floats, axis: int) -> Floats:
    """The logarithm of the sum of exponentials along an axis."""
    top = values.max(axis=axis, keepdims=True)
    return np.asarray(np.squeeze(top, axis) + np.log(np.exp(values - top).sum(axis=axis)))


def profile_by_daylight(
    shown_s: ArrayLike, grey: ArrayLike, *, utc_offset_min: float, latitude_deg: float, longitude_deg: float
) -> Profile | None:
    """Every offset of the day, to hold single ones against each other where `clock_by_daylight` cannot tell the one.

    Arguments as there. None where all pictures are grey or all are not, or the sun explains them no better than chance.
    """
    shown, flag = prepared(shown_s, grey, utc_offset_min)
    if len(shown) == 0 or flag.all() or not flag.any():
        return None
    sun = Sun.over(float(shown[0]), float(shown[-1]), latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    found = _profile(shown, flag, sun)
    return found if found.gain > LEAST_GAIN else None


def _profile(shown: Floats, flag: Bools, sun: Sun) -> Profile:
    n, dark = len(shown), int(flag.sum())
    coarse = np.arange(-720.0, 720.0, 5.0)
    log_post = log_sum(log_likelihood(shown, flag, coarse[:, None], sun) + parameters().log_prior, 1)
    by_chance = dark * np.log(dark / n) + (n - dark) * np.log(1 - dark / n)
    return Profile(coarse, log_post, float(log_post.max() - by_chance))


def _told(shown: Floats, flag: Bools, sun: Sun, *, asymmetry_deg: float, cloud_deg: float) -> ByDaylight | CannotTell:
    n, dark = len(shown), int(flag.sum())
    prior = parameters().log_prior
    whole = _profile(shown, flag, sun)
    coarse, log_post, gain = whole.fast_min, whole.log_weight, whole.gain
    best = float(coarse[int(np.argmax(log_post))])

    # Beside the best, so that a posterior that passes midnight is in one piece.
    beside = np.mod(coarse - best + 720.0, DAY_MIN) - 720.0
    share = np.exp(log_post - log_post.max())
    share /= share.sum()
    elsewhere = float(share[np.abs(beside) > ELSEWHERE_MIN].sum())
    held = beside[share > 1e-5]
    low, high = float(held.min()) - 5.0, float(held.max()) + 5.0
    fine = np.arange(low, high + 0.25, 0.5 if high - low <= 120 else 2.0)
    each = log_likelihood(shown, flag, (best + fine)[:, None], sun) + prior
    log_fine = log_sum(each, 1)
    weight = np.exp(log_fine - log_fine.max())
    weight /= weight.sum()
    middle = _quantile(fine, weight, 0.5)
    nearest = int(np.argmin(np.abs(fine - middle)))
    by_parameter = np.exp(each[nearest] - each[nearest].max())
    threshold = float((by_parameter * parameters().threshold_deg).sum() / by_parameter.sum())

    true = shown - 60.0 * (best + middle)
    speed, near, rising = _near(true, threshold, sun)
    mornings, evenings = int((near & rising).sum()), int((near & ~rising).sum())
    known = {"pictures": n, "grey": dark, "rising": mornings, "falling": evenings}
    if gain <= LEAST_GAIN:
        return CannotTell(why="not the sun", **known)
    if speed is None:
        return CannotTell(why="no twilight", **known)
    if min(mornings, evenings) < LEAST_A_SIDE:
        return CannotTell(why="one side", **known)
    if elsewhere > MOST_ELSEWHERE:
        return CannotTell(why="several offsets", **known)
    wider = float(np.hypot(asymmetry_deg, _cloud_share(true, near, rising, cloud_deg)) / (2 * speed))
    ends = _widened_ends(fine, weight, wider)
    half = (ends[1] - ends[0]) / 2
    if not half <= WIDEST_MIN:
        return CannotTell(why="too wide", half_width_min=half, **known)
    fast = wrapped(best + middle)
    turn = fast - middle  # what the wrapping added to the ends as well
    return ByDaylight(
        fast_min=fast,
        low_min=turn + ends[0],
        high_min=turn + ends[1],
        threshold_deg=threshold,
        speed_deg_per_min=speed,
        at_the_edge=not FLAT_DEG[0] < threshold < FLAT_DEG[1],
        gain=gain,
        **known,
    )


def _near(true_s: Floats, threshold_deg: float, sun: Sun) -> tuple[float | None, Bools, Bools]:
    """Speed of the sun where it passes the threshold, which pictures lie near that, and at which the sun rises.

    The speed in °/min; None where the sun never passes.
    """
    height = sun.height_deg(true_s)
    rising = sun.height_deg(true_s + STEP_S) > height
    near = np.abs(height - threshold_deg) < NEAR_DEG
    whole = sun.heights_deg
    passing = np.abs(whole[:-1] - threshold_deg) < 0.7
    if not passing.any() or not ((whole[:-1] - threshold_deg) * (whole[1:] - threshold_deg) <= 0).any():
        return None, near, rising
    return float(np.median(np.abs(np.diff(whole))[passing])) / (STEP_S / 60.0), near, rising


def _cloud_share(true_s: Floats, near: Bools, rising: Bools, cloud_deg: float) -> float:
    """What clouds leave of doubt in (evening − morning), in degrees: a twilight seen by many pictures is still one."""
    spread = 0.0
    for side in (rising, ~rising):
        _, counts = np.unique(np.floor(true_s[near & side] / 86_400.0), return_counts=True)
        spread += cloud_deg**2 * float((counts**2).sum()) / float(counts.sum()) ** 2
    return float(np.sqrt(spread))


def _quantile(at: Floats, weight: Floats, share: float) -> float:
    cumulated = np.cumsum(weight) - weight / 2
    return float(np.interp(share, cumulated, at))


def _widened_ends(at: Floats, weight: Floats, sd: float) -> tuple[float, float]:
    """The 5 % and 95 % points after a Gaussian of that standard deviation is added. [as `at`]"""
    step = at[1] - at[0]
    reach = np.arange(-int(5 * sd / step) - 1, int(5 * sd / step) + 2)
    gauss = np.exp(-0.5 * (reach * step / max(sd, 1e-6)) ** 2)
    blurred = np.convolve(weight, gauss / gauss.sum())
    wide = at[0] + step * (np.arange(len(blurred)) + reach[0])
    return _quantile(wide, blurred, 0.05), _quantile(wide, blurred, 0.95)
