"""When one deployment's camera watched: what proves that it did, what proves that it did not, and what nobody knows.

Rules, the same for every deployment:

1. Pictures of any kind, time-lapse frames, walks that made a picture and visits that found the camera working are
   *signs of life*. Between two of them the camera watched.
2. Silence before the first sign and after the last is *open*: neither watched nor lost, until a person or a proof
   says so. So is the silence on both sides of a visit that found the camera not working, for when it stopped and when
   it went on is not known; and a silence far longer than the camera's own rhythm explains.
3. *Lost* is what a proof says was not watched: after a card was full, after the camera was gone, a day without the frame
   of a daily time-lapse that is known to have run, and what a person says.
4. A person's decision stands over an open silence, and falls where a proof lies against it.

Of an open silence that part counts, beside its proof, which the camera's rhythm would let pass unseen: with n sequences
over a span p it is p/n where one end is open and p/(n − 1) where both are (the usual estimate of the end of a uniform
law; the larger part is unknown). Every rate tells both ends, all of the open time watched and none of it.

A camera-day (trap-night) is 24 hours, 86 400 s, so a local day on which summer time begins holds 23/24.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod import clock
from trod.errors import WrongInput
from trod.findings import localtime
from trod.pictures import sequences

DAY_S = 86_400.0

# A silence is doubted when so long a one was expected less often than this in the whole deployment. Ours.
DOUBT_CHANCE = 1e-3
# Below these there is no rhythm to judge by, and no doubt is told. Ours.
LEAST_SEQUENCES, LEAST_DAYS = 10, 7
# Only silences longer than a day: the hours of the day then even out.
LEAST_SILENCE_S = DAY_S

Reason = Literal[
    "silent before the first sign of life",
    "silent after the last sign of life",
    "stopped at some time before it was found not working",
    "started again at some time after it was found not working",
    "no sign of life at all",
    "silent far longer than its own rhythm",
    "the card was full",
    "the camera was gone",
    "no time-lapse frame and no picture",
    "a person says it did not watch",
]
NO_FRAME: Reason = "no time-lapse frame and no picture"
Says = Literal["watching", "stopped", "full", "gone"]


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
class Stretch(Interval):
    """Time that was lost, or is open, and why.

    likely : of an open one, the part beside its proof that counts as watched. chance : of a silence inside the
    record, how many as long as this were to be expected in the deployment.
    """

    reason: Reason
    likely: Interval | None = None
    chance: float | None = None


@dataclass(frozen=True, kw_only=True)
class Fact:
    """What somebody found at an instant. [Unix s]

    says : the camera was watching; it had stopped (or was not recording), nobody knows since when; its card was full,
    so it recorded nothing since its last picture; it was gone.
    """

    at_s: float
    says: Says


@dataclass(frozen=True, kw_only=True)
class Decision(Interval):
    """What a person says of a silence. key : names it."""

    watched: bool
    key: str = ""


@dataclass(frozen=True, kw_only=True)
class Watching:
    """One deployment's time, parted without rest into watched, lost and open.

    outside : pictures given whose time lies outside the deployment (a wrong clock, or another camera's card).
    refuted : keys of decisions against which a proof lies.
    """

    start_s: float
    end_s: float
    watched: tuple[Interval, ...]
    lost: tuple[Stretch, ...]
    open: tuple[Stretch, ...]
    outside: int = 0
    refuted: tuple[str, ...] = ()

    @property
    def counted(self) -> tuple[Interval, ...]:
        """What counts as effort: watched, and the likely part of what is open."""
        return tuple(joined([*self.watched, *(one.likely for one in self.open if one.likely)]))

    @property
    def days(self) -> float:
        """Camera-days that count."""
        return math.fsum(one.days for one in self.counted)

    @property
    def proven_days(self) -> float:
        """Camera-days watched beyond doubt: with the open time not counted."""
        return math.fsum(one.days for one in self.watched)

    @property
    def possible_days(self) -> float:
        """Camera-days with all the open time counted."""
        return self.proven_days + self.open_days

    @property
    def open_days(self) -> float:
        """Days of which nobody knows."""
        return math.fsum(one.days for one in self.open)

    @property
    def lost_days(self) -> float:
        """Days that were not watched."""
        return math.fsum(one.days for one in self.lost)


def joined(intervals: Iterable[Interval]) -> list[Interval]:
    """In order; overlapping or touching ones are one, empty ones none."""
    out: list[Interval] = []
    for one in sorted(intervals, key=lambda i: (i.from_s, i.to_s)):
        if one.to_s <= one.from_s:
            continue
        if out and one.from_s <= out[-1].to_s:
            out[-1] = Interval(from_s=out[-1].from_s, to_s=max(out[-1].to_s, one.to_s))
        else:
            out.append(Interval(from_s=one.from_s, to_s=one.to_s))
    return out


def work_out(
    start_s: float,
    end_s: float,
    *,
    pictures_s: ArrayLike,
    frames_s: ArrayLike = (),
    daily_frames: bool = False,
    facts: Sequence[Fact] = (),
    decisions: Sequence[Decision] = (),
    zone_name: str = "UTC",
) -> Watching:
    """Part one deployment's time.

    start_s, end_s : of the deployment, or up to when its cards are at home. [Unix s]
    pictures_s : (n,), corrected times of triggered pictures and clips that prove something, any order; NaN is left out.
    frames_s : (m,), those of time-lapse frames. daily_frames : the camera was set to take at least one a day; without
    one frame it is not known to have run, and proves nothing.
    facts : any order. decisions : in the order in which they were made; a later one goes over an earlier one.
    zone_name : the reserve's, for its local days.
    Raises WrongInput when end_s lies before start_s.
    """
    if not end_s >= start_s:
        raise WrongInput("end_s", got=end_s, needed="an end at or after the start of the deployment")
    shots, frames = _known(pictures_s), _known(frames_s)
    every = np.sort(np.concatenate([shots, frames]))
    inside = every[(every >= start_s) & (every <= end_s)]
    here = sorted((fact for fact in facts if start_s <= fact.at_s <= end_s), key=lambda fact: fact.at_s)
    found = np.array([fact.at_s for fact in here if fact.says == "watching"])
    signs = np.unique(np.concatenate([inside, found]))

    lost, open_ = _lives(start_s, end_s, signs, inside, [fact for fact in here if fact.says != "watching"])
    if daily_frames and np.any((frames >= start_s) & (frames <= end_s)):
        missing = _days_without_frames(start_s, end_s, signs, frames, zone_name)
        lost = _side_by_side([*lost, *missing])
        open_ = _between_frames(_outside(open_, lost), signs)
    else:
        watched = _rest(start_s, end_s, _in_order([*lost, *open_]))
        open_ = _in_order([*open_, *_doubts(inside, watched, found, zone_name)])
    lost, open_, refuted = _decided(lost, open_, decisions, signs, here, start_s, end_s)
    return Watching(
        start_s=start_s,
        end_s=end_s,
        watched=tuple(_rest(start_s, end_s, _in_order([*lost, *open_]))),
        lost=tuple(lost),
        open=tuple(open_),
        outside=int(every.size - inside.size),
        refuted=refuted,
    )


def _known(times: ArrayLike) -> NDArray[np.float64]:
    array = np.asarray(times, dtype=np.float64).reshape(-1)
    return array[np.isfinite(array)]


def _in_order(stretches: Iterable[Stretch]) -> list[Stretch]:
    return sorted((one for one in stretches if one.to_s > one.from_s), key=lambda one: one.from_s)


def _lives(
    start_s: float, end_s: float, signs: NDArray[np.float64], pictures: NDArray[np.float64], stops: Sequence[Fact]
) -> tuple[list[Stretch], list[Stretch]]:
    """Rules 1 to 3, from one finding that it did not work to the next: what was lost and what is open."""
    lost: list[Stretch] = []
    open_: list[Stretch] = []
    begin, after = start_s, ""
    for stop in (*stops, None):
        end, says = (end_s, "") if stop is None else (stop.at_s, stop.says)
        within = signs[(signs >= begin if begin == start_s and not after else signs > begin) & (signs <= end)]
        if not within.size:
            whole = Stretch(from_s=begin, to_s=end, reason="no sign of life at all")
            if after == "gone":
                lost.append(replace(whole, reason="the camera was gone"))
            else:
                open_.append(whole)
        else:
            first, last = float(within[0]), float(within[-1])
            lead = Stretch(from_s=begin, to_s=first, reason="silent before the first sign of life")
            tail = Stretch(from_s=last, to_s=end, reason="silent after the last sign of life")
            if after == "gone":
                lost.append(replace(lead, reason="the camera was gone"))
                lead = replace(lead, to_s=begin)
            elif after:
                lead = replace(lead, reason="started again at some time after it was found not working")
            if says == "full":
                lost.append(replace(tail, reason="the card was full"))
                tail = replace(tail, to_s=last)
            elif says:
                tail = replace(tail, reason="stopped at some time before it was found not working")
            mine = pictures[(pictures >= first) & (pictures <= last)]
            open_ += _with_likely(lead, tail, mine, last - first)
        begin, after = end, says
    return _in_order(lost), _in_order(open_)


def _with_likely(lead: Stretch, tail: Stretch, pictures: NDArray[np.float64], span_s: float) -> list[Stretch]:
    """The two open ends of one life, each with the part of it that its rhythm lets pass unseen."""
    number = len(np.unique(sequences.group(pictures))) if pictures.size else 0
    ends = (lead.to_s > lead.from_s) + (tail.to_s > tail.from_s)
    steps = number - (ends - 1)
    usual_s = span_s / steps if ends and steps > 0 else 0.0
    from_s, to_s = max(lead.from_s, lead.to_s - usual_s), min(tail.to_s, tail.from_s + usual_s)
    return [
        replace(lead, likely=Interval(from_s=from_s, to_s=lead.to_s) if from_s < lead.to_s else None),
        replace(tail, likely=Interval(from_s=tail.from_s, to_s=to_s) if to_s > tail.from_s else None),
    ]


def _days_without_frames(
    start_s: float,
    end_s: float,
    signs: NDArray[np.float64],
    frames: NDArray[np.float64],
    zone_name: str,
) -> list[Stretch]:
    """Days without the daily frame.

    A first or last part of a day counts only when the frame's usual hour falls into it.
    """
    if end_s <= start_s:
        return []
    cuts = np.asarray(clock.day_starts_s(start_s, end_s, zone_name))
    frames = frames[(frames >= start_s) & (frames <= end_s)]
    usual_s = _usual_time_of_day(frames, cuts)
    out: list[Stretch] = []
    for low, high in pairwise(cuts):
        begin, stop = max(float(low), start_s), min(float(high), end_s)
        # More than an hour to spare: the camera's clock may keep winter time.
        partly = begin > low or stop < high
        if partly and usual_s is not None and not begin + 3600 < low + usual_s < stop - 3600:
            continue
        if stop > begin and not np.any((signs >= begin) & (signs < stop)):
            out.append(Stretch(from_s=begin, to_s=stop, reason=NO_FRAME))
    return out


def _usual_time_of_day(frames: NDArray[np.float64], cuts: NDArray[np.float64]) -> float | None:
    """The middle of the times of day of the first frame of each day. [s since local midnight]"""
    if not frames.size:
        return None
    frames = np.sort(frames)
    day = np.searchsorted(cuts, frames, side="right") - 1
    _, first = np.unique(day, return_index=True)
    return float(np.median(frames[first] - cuts[day[first]]))


def _between_frames(open_: Sequence[Stretch], signs: NDArray[np.float64]) -> list[Stretch]:
    """What stays open where a daily frame was due: only what lies beside no sign of life."""
    return [one for one in open_ if not np.any((signs == one.from_s) | (signs == one.to_s))]


def _side_by_side(stretches: Sequence[Stretch]) -> list[Stretch]:
    """In order and without overlap: what an earlier one took stays its own; what touches for one reason is one."""
    taken: list[Stretch] = []
    for one in stretches:
        taken = _in_order([*taken, *_outside([one], taken)])
    out: list[Stretch] = []
    for one in taken:
        if out and out[-1].to_s == one.from_s and out[-1].reason == one.reason:
            out[-1] = replace(out[-1], to_s=one.to_s)
        else:
            out.append(one)
    return out


def _outside(stretches: Iterable[Stretch], cuts: Iterable[Interval]) -> list[Stretch]:
    """What is left of stretches outside others, each with its reason and what is left of its likely part."""
    taken = joined(cuts)
    out: list[Stretch] = []
    for one in stretches:
        for free in _rest(one.from_s, one.to_s, taken):
            likely = None
            if one.likely:
                low, high = max(free.from_s, one.likely.from_s), min(free.to_s, one.likely.to_s)
                likely = Interval(from_s=low, to_s=high) if high > low else None
            out.append(replace(one, from_s=free.from_s, to_s=free.to_s, likely=likely))
    return out


def _rest(start_s: float, end_s: float, cuts: Sequence[Interval]) -> list[Interval]:
    """What is left of start…end between intervals that are in order and do not overlap."""
    left: list[Interval] = []
    at = start_s
    for cut in cuts:
        if cut.to_s <= at or cut.from_s >= end_s:
            continue
        if cut.from_s > at:
            left.append(Interval(from_s=at, to_s=cut.from_s))
        at = cut.to_s
    if at < end_s:
        left.append(Interval(from_s=at, to_s=end_s))
    return left


def _decided(
    lost: Sequence[Stretch], open_: Sequence[Stretch], decisions: Sequence[Decision], signs: NDArray[np.float64],
    facts: Sequence[Fact], start_s: float, end_s: float,
) -> tuple[list[Stretch], list[Stretch], tuple[str, ...]]:  # fmt: skip
    """Rule 4. Also the keys of the decisions against which a proof lies."""
    lost, open_, refuted = list(lost), list(open_), []
    stops = np.array([fact.at_s for fact in facts if fact.says != "watching"])
    for one in decisions:
        against = stops if one.watched else signs
        if np.any((against > one.from_s) & (against < one.to_s)):
            refuted.append(one.key)
            continue
        span = Interval(from_s=max(one.from_s, start_s), to_s=min(one.to_s, end_s))
        if span.to_s <= span.from_s:
            continue
        lost, open_ = _outside(lost, [span]), _outside(open_, [span])
        if not one.watched:
            said = Stretch(from_s=span.from_s, to_s=span.to_s, reason="a person says it did not watch")
            lost = _side_by_side([*lost, said])
    return lost, open_, tuple(refuted)


# --- silences between signs of life ------------------------------------------------------------


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
    working: NDArray[np.float64],
    zone_name: str,
) -> list[Stretch]:
    """Silences between signs of life that the camera's own rhythm does not explain.

    working : when it was found working; that ends a silence too, though it is no sequence.
    """
    doubts: list[Stretch] = []
    for stretch in watched:
        inside = signs[(signs >= stretch.from_s) & (signs <= stretch.to_s)]
        begins = inside[np.unique(sequences.group(inside), return_index=True)[1]]
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
                    Stretch(from_s=low, to_s=high, reason="silent far longer than its own rhythm", chance=expected)
                )
    return doubts


# --- day by day -----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Day:
    """One local day of one deployment. Hours; watched, open and lost make up its time on that day.

    counted_h : what counts as effort: watched, and the likely part of what is open. reasons : of what was not watched.
    """

    day: date
    watched_h: float
    open_h: float
    lost_h: float
    counted_h: float
    reasons: tuple[Reason, ...] = ()


def by_day(found: Watching, zone_name: str) -> tuple[Day, ...]:
    """Every local day that the deployment touches, in order."""
    if found.end_s <= found.start_s:
        return ()
    cuts = np.asarray(clock.day_starts_s(found.start_s, found.end_s, zone_name))
    watched, open_, lost, counted = (
        _hours_by_day(part, cuts) for part in (found.watched, found.open, found.lost, found.counted)
    )
    reasons: list[list[Reason]] = [[] for _ in cuts[:-1]]
    for one in _in_order([*found.open, *found.lost]):
        first = int(np.searchsorted(cuts, one.from_s, side="right")) - 1
        last = int(np.searchsorted(cuts, one.to_s, side="left"))
        for of_day in reasons[max(first, 0) : last]:
            if one.reason not in of_day:
                of_day.append(one.reason)
    return tuple(
        Day(
            day=localtime.local_date(float(cuts[at]), zone_name),
            watched_h=float(watched[at]),
            open_h=float(open_[at]),
            lost_h=float(lost[at]),
            counted_h=float(counted[at]),
            reasons=tuple(reasons[at]),
        )
        for at in range(len(cuts) - 1)
    )


def _hours_by_day(intervals: Sequence[Interval], cuts: NDArray[np.float64]) -> NDArray[np.float64]:
    """(days,) hours of these intervals in each day."""
    until = np.zeros(len(cuts))  # before each midnight
    for one in intervals:
        until += np.clip(cuts, one.from_s, one.to_s) - one.from_s
    return np.asarray(np.diff(until) / 3600.0)
