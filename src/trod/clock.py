"""Camera clocks: what the camera wrote, turned into what time it was. The only room that knows time zones.

A camera's clock shows *raw* time: a naive date and time, no zone, no summer time. It keeps ONE fixed offset
from UTC for a whole deployment. Where the clock was set wrong or drifts, a `ClockCorrection` says by how
much and why:

    UTC = raw − utc_offset_min + shift_s + drift_s_per_day · days since from_raw

A clock that was put back shows the same raw time twice. Which of the two was meant cannot be read from the
time alone, so it is told (NaN) and never guessed. So is a wall-clock time that summer time makes happen twice
or not at all (`AmbiguousTime`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.errors import TrodError, WrongInput

DAY_S = 86_400
# Going back by more than this, in the order the files were written, is a clock that was put back. Files of
# one burst or a clip beside its pictures may be written a little out of order, so small steps back mean
# nothing. Ours.
BACK_S = 3600
# A leap forward onto 1 January 00:00–01:00 is only suspected of being a reset when so long a silence goes
# before it: a camera also may simply see something in the first hour of a year. Ours.
RESET_SILENCE_S = 7 * DAY_S
# A quartz clock drifts by seconds a day; an hour a day is a broken clock and no drift.
MOST_DRIFT_S_PER_DAY = 3600

_EPOCH = datetime(1970, 1, 1)


class AmbiguousTime(TrodError):
    """A clock time that fits several instants, or none.

    shown : the naive time. candidates : the aware UTC instants it may mean; empty when it means none.
    """

    def __init__(self, shown: datetime, candidates: tuple[datetime, ...], why: str, todo: str) -> None:
        super().__init__(shown, candidates, why, todo)
        self.shown, self.candidates, self.why, self.todo = shown, candidates, why, todo

    def __str__(self) -> str:
        if not self.candidates:
            return f"{self.shown:%Y-%m-%d %H:%M:%S} {self.why}. {self.todo}"
        either = " or ".join(f"{c:%Y-%m-%d %H:%M:%S}" for c in self.candidates)
        return f"{self.shown:%Y-%m-%d %H:%M:%S} {self.why}: {either} UTC. {self.todo}"


def _check_naive(name: str, value: datetime) -> datetime:
    if value.tzinfo is not None:
        raise WrongInput(name, got=value.isoformat(), needed="the time as the camera shows it, without a zone")
    return value


def _check_aware(name: str, value: datetime) -> datetime:
    if value.tzinfo is None:
        raise WrongInput(name, got=value.isoformat(), needed="an instant with its zone, such as UTC")
    return value


def _check_offset(utc_offset_min: int) -> None:
    if not -14 * 60 <= utc_offset_min <= 14 * 60:
        raise WrongInput("utc_offset_min", got=utc_offset_min, needed="minutes from -840 to 840")


def raw_seconds(raw: datetime) -> float:
    """A naive clock time as seconds since 1970-01-01 00:00 *of the same clock*: what the vectorised calls take."""
    return (_check_naive("raw", raw) - _EPOCH).total_seconds()


def raw_from_seconds(raw_s: float) -> datetime:
    """The inverse of `raw_seconds`, to the microsecond."""
    return _EPOCH + timedelta(seconds=raw_s)


@dataclass(frozen=True, kw_only=True)
class ClockCorrection:
    """What to add to a camera's clock over a stretch of raw time, and why.

    from_raw, to_raw : naive; the correction holds for from_raw ≤ raw < to_raw. None leaves that side open.
    shift_s : seconds to ADD to the clock at from_raw; above 0 for a slow clock.
    drift_s_per_day : seconds to add per day of the camera's clock since from_raw, on top of shift_s.
    reason : in words, for the person who opens the number later.
    Raises WrongInput for a zoned time, an empty stretch, no reason, or drift without a beginning.
    """

    from_raw: datetime | None = None
    to_raw: datetime | None = None
    shift_s: float = 0.0
    drift_s_per_day: float = 0.0
    reason: str

    def __post_init__(self) -> None:
        for name in ("from_raw", "to_raw"):
            if (value := getattr(self, name)) is not None:
                _check_naive(name, value)
        if self.from_raw is not None and self.to_raw is not None and self.from_raw >= self.to_raw:
            raise WrongInput("to_raw", got=self.to_raw.isoformat(), needed="a clock time after from_raw")
        if not np.isfinite(self.shift_s):
            raise WrongInput("shift_s", got=self.shift_s, needed="seconds to add to the clock")
        if not abs(self.drift_s_per_day) <= MOST_DRIFT_S_PER_DAY:
            raise WrongInput(
                "drift_s_per_day",
                got=self.drift_s_per_day,
                needed=f"at most {MOST_DRIFT_S_PER_DAY} seconds a day either way",
            )
        if self.drift_s_per_day and self.from_raw is None:
            raise WrongInput("from_raw", got=None, needed="the clock time from which the drift is counted")
        if not self.reason.strip():
            raise WrongInput("reason", got=self.reason, needed="a few words on how the correction is known")

    def _bounds_s(self) -> tuple[float, float]:
        low = -np.inf if self.from_raw is None else raw_seconds(self.from_raw)
        high = np.inf if self.to_raw is None else raw_seconds(self.to_raw)
        return float(low), float(high)

    def _added_s(self, raw_s: NDArray[np.float64]) -> NDArray[np.float64]:
        if not self.drift_s_per_day:
            return np.full_like(raw_s, self.shift_s)
        return self.shift_s + self.drift_s_per_day * (raw_s - self._bounds_s()[0]) / DAY_S


@dataclass(frozen=True, kw_only=True)
class CameraClock:
    """The clock of one deployment: a fixed offset from UTC and what is known to be wrong with it.

    utc_offset_min : minutes the clock is meant to be AHEAD of UTC (120 for UTC+2).
    corrections : stretches may leave holes (there the clock is taken as right). Where two stretches overlap
    in raw time the clock was put back and raw times inside are ambiguous.
    """

    utc_offset_min: int = 0
    corrections: tuple[ClockCorrection, ...] = ()

    def __post_init__(self) -> None:
        _check_offset(self.utc_offset_min)
        object.__setattr__(self, "corrections", tuple(self.corrections))

    def to_utc_s(self, raw_s: ArrayLike) -> NDArray[np.float64]:
        """Many clock times at once.

        raw_s : any shape, as `raw_seconds` gives. NaN for a time that is not known.
        Returns Unix seconds, same shape; NaN where the clock time is ambiguous (or NaN came).
        """
        raw = np.asarray(raw_s, dtype=np.float64)
        added = np.zeros_like(raw)
        claimed = np.zeros(raw.shape, dtype=bool)
        for correction in self.corrections:
            low, high = correction._bounds_s()
            here = (raw >= low) & (raw < high)
            mine = correction._added_s(raw)
            clash = here & claimed & (mine != added)
            added = np.where(here, mine, added)
            added = np.where(clash, np.nan, added)
            claimed |= here
        return raw - self.utc_offset_min * 60 + added


def offset_from_visit(shown_raw: datetime, true_utc: datetime, utc_offset_min: int) -> float:
    """Seconds to add to a clock that showed `shown_raw` (naive) at `true_utc` (aware): the shift_s of a correction.

    Above 0 when the clock was slow. Raises WrongInput when a zone is there or missing in the wrong place.
    """
    _check_offset(utc_offset_min)
    plain = _check_naive("shown_raw", shown_raw) - timedelta(minutes=utc_offset_min)
    return (_check_aware("true_utc", true_utc) - plain.replace(tzinfo=UTC)).total_seconds()


def error_s(shown_raw: datetime | None, true_utc: datetime | None, utc_offset_min: int) -> float | None:
    """How far a camera's clock was ahead when somebody read it; None when nobody did. [s]

    shown_raw : what it showed; a zone on it says nothing. true_utc : when that was. utc_offset_min : its fixed offset.
    """
    if shown_raw is None or true_utc is None:
        return None
    return -offset_from_visit(shown_raw.replace(tzinfo=None), true_utc, utc_offset_min)


def correction_between_visits(
    first_shown_raw: datetime,
    first_true_utc: datetime,
    second_shown_raw: datetime,
    second_true_utc: datetime,
    *,
    utc_offset_min: int,
    reason: str,
) -> ClockCorrection:
    """Shift and even drift from two readings of one clock that nobody touched in between.

    Raises WrongInput when the second reading is not after the first on both clocks.
    """
    if second_shown_raw <= first_shown_raw or second_true_utc <= first_true_utc:
        raise WrongInput(
            "second_shown_raw",
            got=second_shown_raw.isoformat(),
            needed="a reading after the first; a clock put back needs a correction for each part",
        )
    first_s = offset_from_visit(first_shown_raw, first_true_utc, utc_offset_min)
    second_s = offset_from_visit(second_shown_raw, second_true_utc, utc_offset_min)
    days = (second_shown_raw - first_shown_raw).total_seconds() / DAY_S
    return ClockCorrection(
        from_raw=first_shown_raw,
        shift_s=first_s,
        drift_s_per_day=(second_s - first_s) / days,
        reason=reason,
    )


# --- jumps, seen without the sun ------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Jump:
    """A place in the order of files where the clock was put elsewhere.

    index : of the first file after the jump. before_raw, after_raw : the clock on both sides.
    kind : "back" (put back by more than an hour) or "reset" (landed on 1 January 00:00–01:00, as a clock
    does that lost its power). sure : False for a reset that may be a long silence ending in the first hour
    of a year.
    """

    index: int
    before_raw: datetime
    after_raw: datetime
    kind: Literal["back", "reset"]
    sure: bool

    @property
    def step_s(self) -> float:
        """How far the shown time moved; below 0 for back."""
        return (self.after_raw - self.before_raw).total_seconds()

    def __str__(self) -> str:
        went = "went back" if self.step_s < 0 else "leapt"
        end = " (perhaps: a clock that lost its power starts on 1 January)" if self.kind == "reset" else ""
        return f"the clock {went} from {self.before_raw:%Y-%m-%d %H:%M} to {self.after_raw:%Y-%m-%d %H:%M}{end}"


def detect_jumps(raw_times: Sequence[datetime | None]) -> tuple[Jump, ...]:
    """Find where a camera's clock was put back or fell to its factory date.

    raw_times : naive, in the order the FILES were written (folder and file number), None where a file has
    no date. Returns the jumps in that order. Each splits the set: corrections are needed for each part apart.
    Notes : back by more than an hour; or onto 1 January 00:00–01:00, backward (sure) or forward after more
    than a week of silence (not sure). A clock put forward in any other way cannot be told from a quiet time.
    """
    jumps: list[Jump] = []
    before: datetime | None = None
    for index, after in enumerate(raw_times):
        if after is None:
            continue
        _check_naive("raw_times", after)
        if before is not None:
            step_s = (after - before).total_seconds()
            new_year = after.month == 1 and after.day == 1 and (after.hour, after.minute) <= (1, 0)
            back = step_s < -BACK_S
            if back or (new_year and step_s > RESET_SILENCE_S):
                jumps.append(
                    Jump(
                        index=index,
                        before_raw=before,
                        after_raw=after,
                        kind="reset" if new_year else "back",
                        sure=back,
                    )
                )
        before = after
    return tuple(jumps)


# --- the reserve's own time -----------------------------------------------------------------------


def zone(zone_name: str) -> ZoneInfo:
    """The time zone of that name (IANA, such as "Europe/Vienna").

    Raises WrongInput for a name nobody knows.
    """
    try:
        return ZoneInfo(zone_name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise WrongInput("zone_name", got=zone_name, needed="an IANA time zone such as Europe/Vienna or UTC") from error


def local(utc: datetime, zone_name: str) -> datetime:
    """An aware instant on the wall clock of a zone (aware)."""
    return _check_aware("utc", utc).astimezone(zone(zone_name))


def utc_from_local(wall: datetime, zone_name: str, *, fold: Literal[0, 1] | None = None) -> datetime:
    """The UTC instant of a naive wall-clock time, as a person types it.

    fold : which of the two is meant (0 the earlier) when summer time ends; None refuses to guess.
    Raises AmbiguousTime for a time that happened twice, and for one that summer time leaps over.
    """
    where = zone(zone_name)
    _check_naive("wall", wall)
    both = tuple(wall.replace(tzinfo=where, fold=f).astimezone(UTC) for f in (0, 1))
    real = tuple(sorted({i for i in both if i.astimezone(where).replace(tzinfo=None) == wall.replace(fold=0)}))
    if not real:
        raise AmbiguousTime(
            wall,
            (),
            f"does not exist in {zone_name}: summer time leaps over it",
            "Give an hour more or less.",
        )
    if len(real) == 1:
        return real[0]
    if fold is None:
        raise AmbiguousTime(wall, real, f"happened twice in {zone_name}, as summer time ended", "Say which is meant.")
    return real[fold]


def utc_offsets_s(utc_s: ArrayLike, zone_name: str) -> NDArray[np.float64]:
    """Seconds a zone's wall clock was ahead of UTC at many instants. Any shape; NaN stays NaN."""
    where = zone(zone_name)
    utc = np.asarray(utc_s, dtype=np.float64)
    # Zones change at whole quarters of an hour (UTC), so one look per quarter is enough.
    known = np.isfinite(utc)
    quarters, inverse = np.unique(np.floor(utc[known] / 900), return_inverse=True)
    offsets = np.empty(quarters.size)
    for i, q in enumerate(quarters):
        offset = datetime.fromtimestamp(float(q) * 900, UTC).astimezone(where).utcoffset()
        offsets[i] = offset.total_seconds() if offset is not None else 0.0
    found = np.full(utc.shape, np.nan)
    found[known] = offsets[inverse]
    return found


def changes_s(from_utc_s: float, to_utc_s: float, zone_name: str) -> tuple[float, ...]:
    """The instants [Unix s] between the two at which a zone's wall clock is put forward or back, in order."""
    days = np.arange(from_utc_s, to_utc_s + DAY_S, DAY_S)
    offsets = utc_offsets_s(days, zone_name)
    found = []
    for at in np.flatnonzero(np.diff(offsets)):
        quarters = np.arange(np.floor(days[at] / 900) * 900, days[at + 1] + 900, 900.0)
        first = int(np.flatnonzero(np.diff(utc_offsets_s(quarters, zone_name)))[0]) + 1
        if from_utc_s <= quarters[first] <= to_utc_s:
            found.append(float(quarters[first]))
    return tuple(found)


def day_starts_s(from_utc_s: float, to_utc_s: float, zone_name: str) -> list[float]:
    """The local midnights [Unix s] that cut from…to into local days: first at or before from, last at or after to."""
    return list(_cuts(from_utc_s, to_utc_s, zone_name, months=False))


def _cuts(from_utc_s: float, to_utc_s: float, zone_name: str, *, months: bool) -> Iterator[float]:
    where = zone(zone_name)
    day = datetime.fromtimestamp(from_utc_s, where).date()
    if months:
        day = day.replace(day=1)
    while True:
        # Where summer time begins at midnight the day's first instant is 01:00; fold=0 gives just that
        # instant.
        start_s = datetime.combine(day, datetime.min.time(), where).timestamp()
        yield start_s
        if start_s >= to_utc_s:
            return
        day = _next_month(day) if months else day + timedelta(days=1)


def _next_month(day: date) -> date:
    return date(day.year + day.month // 12, day.month % 12 + 1, 1)
