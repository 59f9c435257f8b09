"""Effort: the time a camera really watched, and the gaps in it, each with its reason.

Rules, the same for every deployment:

1. Pictures of any kind, time-lapse frames, and visits that found the camera working are *signs of life*.
2. With a daily time-lapse, a local day without a frame and without any other sign of life is a gap. A first
   or last part of a day is judged only when it holds the hour at which the frame usually comes.
3. Without one, a camera is taken to have worked from the start (or from the visit that left it working) to
   the visit that found it working, or else to its last sign of life. What follows is a gap.
4. A silence far longer than the camera's own rhythm explains is told as a doubt. It is taken off the effort
   only when a person confirms it.

A camera-day (trap-night) is 24 hours, 86 400 s, so a local day on which summer time begins holds 23/24.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod import clock
from trod.errors import WrongInput
from trod.pictures import sequences

DAY_S = 86_400.0

# A silence is doubted when so long a one was expected less often than this in the whole deployment. Ours.
DOUBT_CHANCE = 1e-3
# Below these there is no rhythm to judge by, and no doubt is told. Ours.
LEAST_SEQUENCES, LEAST_DAYS = 10, 7
# Only silences longer than a day: the hours of the day then even out.
LEAST_SILENCE_S = DAY_S

Reason = Literal[
    "no time-lapse frame and no picture",
    "no sign of life to the end",
    "no sign of life up to a visit",
    "found not working at a visit",
    "left switched off at a visit",
    "no sign of life at all",
    "confirmed by a person",
    "perhaps not working: silent far longer than its own rhythm",
]


@dataclass(frozen=True, kw_only=True)
class Interval:
    """A stretch of time, from_s ≤ t < to_s. [Unix s]"""

    from_s: float
    to_s: float

    @property
    def days(self) -> float:
        """Camera-days of 24 hours."""
        return (self.to_s - self.from_s) / DAY_S


@dataclass(frozen=True, kw_only=True)
class Gap(Interval):
    """Time in which the camera did not watch, or perhaps did not, and why.

    chance : for a doubt, how many silences as long as this were to be expected in the deployment.
    """

    reason: Reason
    chance: float | None = None


@dataclass(frozen=True, kw_only=True)
class CameraVisit:
    """What a visit says about the camera. [Unix s]

    found_working : None when nobody looked. left_working : whether it was running when the visit ended.
    """

    at_s: float
    found_working: bool | None = None
    left_working: bool = True


@dataclass(frozen=True, kw_only=True)
class Timeline:
    """One deployment's watched time.

    watched : what counts as effort. gaps : what does not. The two together are exactly the deployment.
    doubts : within `watched`; counted until somebody confirms them.
    outside : pictures given whose time lies outside the deployment (a wrong clock, or another camera's card).
    """

    start_s: float
    end_s: float
    watched: tuple[Interval, ...]
    gaps: tuple[Gap, ...]
    doubts: tuple[Gap, ...]
    outside: int

    @property
    def days(self) -> float:
        """Camera-days watched."""
        return sum(i.days for i in self.watched)


def timeline(
    start_s: float,
    end_s: float,
    *,
    pictures_s: ArrayLike,
    frames_s: ArrayLike = (),
    daily_frames: bool = False,
    visits: Sequence[CameraVisit] = (),
    confirmed: Sequence[Interval] = (),
    zone_name: str = "UTC",
) -> Timeline:
    """Work out when one deployment's camera watched.

    start_s, end_s : of the deployment (or up to now, for one still running). [Unix s]
    pictures_s : (n,), corrected times of triggered pictures and clips, any order. NaN (unknown) is left out.
    frames_s : (m,), those of time-lapse frames. daily_frames : the camera was set to take at least one a day.
    visits : any order. confirmed : doubts (or other stretches) that a person says were downtime.
    zone_name : the reserve's, for its local days.
    Raises WrongInput when end_s lies before start_s.
    """
    if not end_s >= start_s:
        raise WrongInput("end_s", got=end_s, needed="an end at or after the start of the deployment")
    shots, frames = _known(pictures_s), _known(frames_s)
    every = np.sort(np.concatenate([shots, frames]))
    inside = every[(every >= start_s) & (every <= end_s)]
    here = sorted((v for v in visits if start_s <= v.at_s <= end_s), key=lambda v: v.at_s)

    gaps = _gaps_between_visits(start_s, end_s, inside, here, daily_frames=daily_frames)
    if daily_frames:
        found = [v.at_s for v in here if v.found_working]
        signs = np.sort(np.concatenate([inside, found]))
        gaps += _days_without_frames(start_s, end_s, signs, frames, zone_name)
    gaps += [
        Gap(from_s=max(c.from_s, start_s), to_s=min(c.to_s, end_s), reason="confirmed by a person")
        for c in confirmed
        if min(c.to_s, end_s) > max(c.from_s, start_s)
    ]
    gaps = _side_by_side(gaps)
    watched = _rest(start_s, end_s, gaps)
    doubts: list[Gap] = [] if daily_frames else _doubts(inside, watched, here, zone_name)
    return Timeline(
        start_s=start_s,
        end_s=end_s,
        watched=tuple(watched),
        gaps=tuple(gaps),
        doubts=tuple(doubts),
        outside=int(every.size - inside.size),
    )


def _known(times: ArrayLike) -> NDArray[np.float64]:
    array = np.asarray(times, dtype=np.float64).reshape(-1)
    return array[np.isfinite(array)]


def _gaps_between_visits(
    start_s: float,
    end_s: float,
    signs: NDArray[np.float64],
    visits: Sequence[CameraVisit],
    *,
    daily_frames: bool,
) -> list[Gap]:
    """Rule 3, from visit to visit. With daily frames the end is left to rule 2, which knows it to the day."""
    gaps: list[Gap] = []
    begin, running = start_s, True
    # A visit that says nothing about the camera parts nothing.
    telling = [v for v in visits if v.found_working is not None or not v.left_working]
    for visit in (*telling, None):
        stop = end_s if visit is None else visit.at_s
        within = signs[(signs >= begin) & (signs <= stop)]
        if not running:
            # Left off, yet a picture or a visit shows that it ran: from then on.
            runs_at = stop
            if within.size:
                runs_at = float(within[0])
            gaps.append(Gap(from_s=begin, to_s=runs_at, reason="left switched off at a visit"))
            begin = runs_at
        last = float(within[-1]) if within.size else begin
        if visit is None:
            if running and begin == start_s and not within.size:
                gaps.append(Gap(from_s=begin, to_s=stop, reason="no sign of life at all"))
            elif not daily_frames:
                gaps.append(Gap(from_s=last, to_s=stop, reason="no sign of life to the end"))
        else:
            if visit.found_working is False:
                gaps.append(Gap(from_s=last, to_s=stop, reason="found not working at a visit"))
            elif visit.found_working is None and not daily_frames:
                # Nobody looked before it was switched off.
                gaps.append(Gap(from_s=last, to_s=stop, reason="no sign of life up to a visit"))
            begin, running = visit.at_s, visit.left_working
    return [g for g in gaps if g.to_s > g.from_s]


def _days_without_frames(
    start_s: float,
    end_s: float,
    signs: NDArray[np.float64],
    frames: NDArray[np.float64],
    zone_name: str,
) -> list[Gap]:
    """Rule 2. A first or last part of a day counts only when the frame's usual hour falls into it."""
    if end_s <= start_s:
        return []
    cuts = np.asarray(clock.day_starts_s(start_s, end_s, zone_name))
    frames = frames[(frames >= start_s) & (frames <= end_s)]
    usual_s = _usual_time_of_day(frames, cuts)
    gaps: list[Gap] = []
    for low, high in pairwise(cuts):
        begin, stop = max(float(low), start_s), min(float(high), end_s)
        # More than an hour to spare: the camera's clock may keep winter time.
        partly = begin > low or stop < high
        if partly and usual_s is not None and not begin + 3600 < low + usual_s < stop - 3600:
            continue
        if stop > begin and not np.any((signs >= begin) & (signs < stop)):
            gaps.append(Gap(from_s=begin, to_s=stop, reason="no time-lapse frame and no picture"))
    return gaps


def _usual_time_of_day(frames: NDArray[np.float64], cuts: NDArray[np.float64]) -> float | None:
    """The middle of the times of day of the first frame of each day. [s since local midnight]"""
    if not frames.size:
        return None
    frames = np.sort(frames)
    day = np.searchsorted(cuts, frames, side="right") - 1
    _, first = np.unique(day, return_index=True)
    return float(np.median(frames[first] - cuts[day[first]]))


def _side_by_side(gaps: Sequence[Gap]) -> list[Gap]:
    """In order and without overlap: what an earlier rule took stays its own, and what touches for one
    reason is one.

    The rules come in the order in which `timeline` gathers them.
    """
    taken: list[Gap] = []
    for gap in gaps:
        for free in _rest(gap.from_s, gap.to_s, taken):
            taken.append(Gap(from_s=free.from_s, to_s=free.to_s, reason=gap.reason))
        taken.sort(key=lambda g: g.from_s)
    joined: list[Gap] = []
    for gap in taken:
        if joined and joined[-1].to_s == gap.from_s and joined[-1].reason == gap.reason:
            joined[-1] = Gap(from_s=joined[-1].from_s, to_s=gap.to_s, reason=gap.reason)
        else:
            joined.append(gap)
    return joined


def _rest(start_s: float, end_s: float, gaps: Sequence[Interval]) -> list[Interval]:
    """What is left of start…end between gaps that are in order and do not overlap."""
    left: list[Interval] = []
    at = start_s
    for gap in gaps:
        if gap.to_s <= at or gap.from_s >= end_s:
            continue
        if gap.from_s > at:
            left.append(Interval(from_s=at, to_s=gap.from_s))
        at = gap.to_s
    if at < end_s:
        left.append(Interval(from_s=at, to_s=end_s))
    return left


# --- rule 4: silences -----------------------------------------------------------------------------


def expected_silences(daily_counts: ArrayLike, silence_days: float, *, nearby: ArrayLike | None = None) -> float | None:
    """How many silences at least this long are to be expected beside these days.

    daily_counts : (days,), sequences on each day outside the silence.
    nearby : (days,), True for the days about it.
    Returns the expected number, or None when there are too few days or sequences to judge by.
    Notes : sequences of a day as negative binomial, mean m and variance m + m²/k by moments (Poisson when the
    variance is not above the mean). A silence of L days has the chance (1 + m/k)^(−k·L) from any one
    beginning; each of the n sequences is a beginning, so n·(1 + m/k)^(−k·L) are expected. Days are not
    independent: k is taken from runs of 1, 2, 4, 8… days as well, so long as there are 8 runs, and the least
    is used. Seasons change: m is also taken from the days nearby (one sequence more than were seen), and the
    smaller is used.
    Ours. benchmarks/pictures.py measures false alarms and hits on made-up rhythms (docs/measured.md).
    """
    counts = np.asarray(daily_counts, dtype=np.float64)
    if counts.size < LEAST_DAYS or counts.sum() < LEAST_SEQUENCES:
        return None
    mean = float(counts.mean())
    least_k = math.inf
    run = 1
    while run == 1 or counts.size // run >= 8:
        whole = counts[: counts.size // run * run].reshape(-1, run).sum(axis=1)
        over = float(whole.var(ddof=1)) - float(whole.mean())
        if over > 0:
            # r independent days together have r times one day's k.
            least_k = min(least_k, float(whole.mean()) ** 2 / over / run)
        run *= 2
    if nearby is not None and np.any(nearby):
        near = counts[np.asarray(nearby, dtype=bool)]
        mean = min(mean, (float(near.sum()) + 1) / near.size)
    log_quiet_day = -mean if math.isinf(least_k) else -least_k * math.log1p(mean / least_k)
    return float(counts.sum()) * math.exp(log_quiet_day * silence_days)


def _doubts(
    signs: NDArray[np.float64],
    watched: Sequence[Interval],
    visits: Sequence[CameraVisit],
    zone_name: str,
) -> list[Gap]:
    """Silences inside watched time that its own rhythm does not explain."""
    working = np.array([v.at_s for v in visits if v.found_working])
    doubts: list[Gap] = []
    for stretch in watched:
        inside = signs[(signs >= stretch.from_s) & (signs <= stretch.to_s)]
        begins = inside[np.unique(sequences.group(inside), return_index=True)[1]]
        # Visits that found it working end a silence too, though they are no sequences.
        marks = np.unique(np.concatenate([[stretch.from_s], inside, working, [stretch.to_s]]))
        marks = marks[(marks >= stretch.from_s) & (marks <= stretch.to_s)]
        silences = np.flatnonzero(np.diff(marks) >= LEAST_SILENCE_S)
        if not silences.size:
            continue
        cuts = np.asarray(clock.day_starts_s(stretch.from_s, stretch.to_s, zone_name))
        counts = np.histogram(begins, bins=cuts)[0]
        day_low, day_high = cuts[:-1], cuts[1:]
        whole = (day_low >= stretch.from_s) & (day_high <= stretch.to_s)
        for at in silences:
            low, high = float(marks[at]), float(marks[at + 1])
            # Whole local days of the stretch that do not touch the silence.
            clear = whole & ((day_high <= low) | (day_low >= high))
            reach = max((high - low) / 2, LEAST_DAYS * DAY_S)
            near = (day_high > low - reach) & (day_low < high + reach)
            expected = expected_silences(counts[clear], (high - low) / DAY_S, nearby=near[clear])
            if expected is not None and expected < DOUBT_CHANCE:
                doubts.append(
                    Gap(
                        from_s=low,
                        to_s=high,
                        reason="perhaps not working: silent far longer than its own rhythm",
                        chance=expected,
                    )
                )
    return doubts


# --- camera-days ----------------------------------------------------------------------------------


def camera_days(intervals: Sequence[Interval], from_s: float, to_s: float) -> float:
    """Camera-days of 24 hours in from…to. Intervals must not overlap; those of a Timeline do not."""
    if to_s < from_s:
        raise WrongInput("to_s", got=to_s, needed="an instant at or after from_s")
    seconds = math.fsum(max(0.0, min(i.to_s, to_s) - max(i.from_s, from_s)) for i in intervals)
    return seconds / DAY_S


def camera_days_by_month(intervals: Sequence[Interval], *, zone_name: str) -> dict[tuple[int, int], float]:
    """Camera-days by (year, month) of the reserve's own calendar, in order; empty months between are 0."""
    if not intervals:
        return {}
    first, last = min(i.from_s for i in intervals), max(i.to_s for i in intervals)
    cuts = clock.month_starts_s(first, last, zone_name)
    where = clock.zone(zone_name)
    found: dict[tuple[int, int], float] = {}
    for low, high in pairwise(cuts):
        month = datetime.fromtimestamp(low, where)
        found[month.year, month.month] = camera_days(intervals, low, high)
    return found


def rule_sentence(*, daily_frames: bool) -> str:
    """The rule of effort, to be printed beside it."""
    if daily_frames:
        first = "A day without a time-lapse frame or any other picture is not counted"
    else:
        first = (
            "A camera counts from its start to its last picture, or to a visit that found it working; "
            "what follows is not counted"
        )
    return f"{first}. A camera-day is 24 hours."
