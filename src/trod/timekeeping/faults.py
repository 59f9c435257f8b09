"""What is wrong with the times on a card, before anything is believed: each fault with what it rests on and what to add.

The pictures of a card are cut into *runs* in which nobody set the clock: where the shown time goes back in the order of
the files, or leaps out of the time in which the card lay in the camera (or into it). Each run is then held against

- the **stay**: no picture was taken before the card was put in, after it was taken out, or later than now,
- the **order** of the files: a later run happened later,
- the **ends**: who hangs or fetches a camera is often its first or last picture. That is an assumption, so the ends
  count only where they agree with each other or with the light,
- the **light** (`daylight`), which knows the hour of the day and nothing of the date,
- **readings**: a person read the clock beside a true one.

What explains a run and breaks none of these is proposed. Nothing is applied here, and a date that several explanations
fit is told as not known. The known ways of being wrong are those of the trade: never set (a factory date), a wrong
year, day and month swapped, half a day out, summer time, an hour or more out, put elsewhere while it hung there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod.clock import BACK_S, DAY_S, MOST_DRIFT_S_PER_DAY, raw_from_seconds
from trod.timekeeping import daylight
from trod.timekeeping.daylight import Bools, ByDaylight, Floats, Profile, wrapped
from trod.timekeeping.daylight_changes import step_by_daylight

HOUR_S = 3600.0
# A visit is noted to the hour at best, so a picture so long before or after it is no fault by itself. Ours.
SLACK_S = 6 * HOUR_S
# A clock so little out is left alone when only the light says so: where morning and evening differ, the light itself
# is out by several minutes. Ours (docs/models/camera-clock.md: under 1 in 200 false alarms on right clocks).
LEAST_BY_LIGHT_MIN, TIMES_HALF = 25.0, 2.5
# The first and the last picture put the clock out by the same amount within this. Ours.
ENDS_AGREE_S, LEAST_BY_ENDS_S = 30 * 60.0, 2 * HOUR_S
# A clock that is read to be out by less is left alone: people read it to the minute, and a few minutes of drift in two
# months change no finding. Ours.
LEAST_BY_READING_S = 300.0
# Years a clock is thought to be wrong by. Ours.
YEARS = range(-12, 13)
# Where the light tells no one offset, one is against it when it explains the flags e⁷ times worse than the best; and an
# agreement says something where at most so many of the day's 288 offsets are left. Ours.
AGAINST, NARROW = 7.0, 24
# A run of fewer pictures is too short for its hours to tell anything.
FEWEST_FOR_LIGHT = 30
# So near a legal change of time, a step of an hour is called summer time.
NEAR_CHANGE_S = 2.5 * DAY_S

# How strongly an explanation is thought of: a reading, both visits, what the trade knows to happen, one visit.
READ, BOTH_ENDS, OF_THE_TRADE, ONE_END = 4, 3, 2, 1

Kind = Literal[
    "wrong year", "day and month swapped", "half a day", "an hour", "summer time", "offset", "set elsewhere",
    "factory date", "outside", "out of order", "drift",
]  # fmt: skip
Basis = Literal["stay", "order", "ends", "light", "reading"]


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A clock that somebody read: shown_s on the camera (its own seconds), true_s (Unix)."""

    shown_s: float
    true_s: float


@dataclass(frozen=True, kw_only=True)
class Stay:
    """What is known of the time in which a card's pictures were taken.

    begun_s, ended_s : the card put in and taken out [Unix s]; None where nobody noted it. now_s : when it is asked.
    utc_offset_min : the fixed offset that the clock is meant to keep. latitude_deg, longitude_deg : None where the place
    is not known. changes_s : legal changes of summer time there. readings : of the clock, in order.
    """

    now_s: float
    begun_s: float | None = None
    ended_s: float | None = None
    utc_offset_min: float = 0.0
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    changes_s: tuple[float, ...] = ()
    readings: tuple[Reading, ...] = ()

    @property
    def until_s(self) -> float:
        """No picture is later."""
        return self.now_s if self.ended_s is None else min(self.ended_s, self.now_s)


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing found wrong, and what would mend it.

    kind : what happened. "outside": the date cannot be right, and nothing known explains it. "out of order": the clock
    went back there, and nothing tells whether the pictures before or those after are out.
    first, last : indices of the pictures in the order of the files. from_s, to_s : the stretch of the camera's own time
    [first, last + 1 s) that they fill.
    add_s : seconds to add to that stretch; None where it is not known. doubt_s : how far beside that may be, either way;
    None with it.
    drift_s_per_day : to add per day on top, for "drift".
    rests_on : what it follows from, the strongest first. others : shifts [s] that would fit, for a person to choose from
    by looking at the pictures: where several explanations do, or where one end of the run would be the visit.
    """

    kind: Kind
    first: int
    last: int
    from_s: float
    to_s: float
    add_s: float | None
    doubt_s: float | None
    rests_on: tuple[Basis, ...]
    drift_s_per_day: float = 0.0
    others: tuple[float, ...] = ()


@dataclass(frozen=True)
class _Run:
    """Pictures in which nobody set the clock: indices into the files, shown times as UTC, flags (NaN unknown)."""

    index: NDArray[np.intp]
    shown: Floats
    grey: Floats
    hour_at: Literal["", "begins", "ends"] = ""  # where the light saw a step of an hour at a legal change of time
    went_back: bool = False  # the clock went back to begin it

    @property
    def first_s(self) -> float:
        return float(self.shown.min())

    @property
    def last_s(self) -> float:
        return float(self.shown.max())


@dataclass(frozen=True)
class _Guess:
    """One explanation: add so much, and what speaks for it. strength : of READ to ONE_END."""

    kind: Kind
    add_s: float | None
    rests_on: tuple[Basis, ...]
    doubt_s: float | None = 0.0
    strength: int = 0


class _Lights:
    """What the light says of one run once its date is put right by so many days.

    The sun of the wrong season would be held against it otherwise. Each is worked out once.
    """

    def __init__(self, run: _Run, stay: Stay) -> None:
        self.run, self.stay = run, stay
        self._by_days: dict[int, ByDaylight | Profile | None] = {}

    def at(self, add_s: float) -> ByDaylight | Profile | None:
        """The offset where the light can tell one, else how every offset fits; None where it says nothing."""
        days = round(add_s / DAY_S)
        if days not in self._by_days:
            self._by_days[days] = self._worked_out(days)
        return self._by_days[days]

    def _worked_out(self, days: int) -> ByDaylight | Profile | None:
        run, stay = self.run, self.stay
        told = np.isfinite(run.grey)
        if stay.latitude_deg is None or stay.longitude_deg is None or int(told.sum()) < FEWEST_FOR_LIGHT:
            return None
        shown, grey = run.shown[told] + DAY_S * days, run.grey[told] > 0.5
        found = daylight.clock_by_daylight(
            shown, grey, utc_offset_min=0.0, latitude_deg=stay.latitude_deg, longitude_deg=stay.longitude_deg
        )
        if isinstance(found, ByDaylight):
            return found
        return daylight.profile_by_daylight(
            shown, grey, utc_offset_min=0.0, latitude_deg=stay.latitude_deg, longitude_deg=stay.longitude_deg
        )

    def off_min(self, add_s: float) -> float | None:
        """How far ahead the clock would still be after the shift; None where the light tells no one offset."""
        said = self.at(add_s)
        return wrapped(said.fast_min + add_s / 60.0) if isinstance(said, ByDaylight) else None

    def fits(self, add_s: float) -> bool | None:
        """Whether a shift agrees with the light; None where the light says nothing."""
        said = self.at(add_s)
        if isinstance(said, ByDaylight):
            off = wrapped(said.fast_min + add_s / 60.0)
            return abs(off) <= max(LEAST_BY_LIGHT_MIN, TIMES_HALF * said.half_width_min)
        return None if said is None else said.against_best(-add_s / 60.0, LEAST_BY_LIGHT_MIN) > -AGAINST

    def narrow(self, add_s: float) -> bool:
        """Whether so few offsets fit that an agreement says something."""
        said = self.at(add_s)
        if isinstance(said, Profile):
            return int((said.log_weight > said.log_weight.max() - AGAINST).sum()) <= NARROW
        return said is not None


def faults(shown_s: ArrayLike, stay: Stay, *, grey: ArrayLike | None = None) -> tuple[Fault, ...]:
    """What is wrong with the times of one card.

    shown_s : (n,) seconds of the camera's own clock (`clock.raw_seconds`) in the order in which the FILES were written,
    NaN where a file has no time of its own. grey : (n,) 1 infrared, 0 colour, NaN not known.
    Returns the faults in the order of the files; empty where the clock may be right, which is not yet proof
    that it is right: a wrong date inside the stay is seen only where runs, ends or light give it away.
    """
    shown = np.asarray(shown_s, dtype=np.float64)
    flags = np.full(len(shown), np.nan) if grey is None else np.asarray(grey, dtype=np.float64)
    known = np.flatnonzero(np.isfinite(shown))
    if len(known) == 0:
        return ()
    own = 60.0 * stay.utc_offset_min
    read = _by_readings(shown, known, stay)
    if read:
        return read
    whole = _runs(shown[known] - own, flags[known], known, stay, at_edges=False)
    found, unknown = _judged(whole, stay, own)
    if unknown:  # a clock put elsewhere while it hung there leaps across the edge of the stay, if it can be seen at all
        parts = _runs(shown[known] - own, flags[known], known, stay, at_edges=True)
        if len(parts) > len(whole):
            found, _ = _judged(parts, stay, own)
    return tuple(found)


def _judged(runs: list[_Run], stay: Stay, own: float) -> tuple[list[Fault], int]:
    """The faults of the runs in turn, and for how many of them no shift is known."""
    found: list[Fault] = []
    after = -np.inf if stay.begun_s is None else stay.begun_s - SLACK_S
    for number, run in enumerate(runs):
        guesses = _of_run(run, stay, _Lights(run, stay), after=after, first=number == 0, last=number == len(runs) - 1)
        if not guesses:
            after = max(after, run.last_s - HOUR_S)
            continue
        best = guesses[0]
        found.append(_as_fault(run, best, own, others=tuple(g.add_s for g in guesses[1:])))
        if best.add_s is not None:
            after = max(after, run.last_s + best.add_s - HOUR_S)
    return found, sum(f.add_s is None for f in found)


def _runs(shown: Floats, grey: Floats, known: NDArray[np.intp], stay: Stay, *, at_edges: bool) -> list[_Run]:
    """Cut where the clock goes back, where it leaps across the edge of the stay, and where the light shows a step.

    at_edges : whether at the edges of the stay.
    """
    low = -np.inf if stay.begun_s is None else stay.begun_s - SLACK_S
    inside = (shown >= low) & (shown <= stay.until_s + SLACK_S)
    step = np.diff(shown)
    back = step < -BACK_S
    cut = back | ((inside[1:] != inside[:-1]) & (step > SLACK_S)) if at_edges else back
    runs = []
    for part in np.split(np.arange(len(shown)), np.flatnonzero(cut) + 1):
        begins = int(part[0])
        run = _Run(known[part], shown[part], grey[part], went_back=begins > 0 and bool(back[begins - 1]))
        runs += list(_cut_by_light(run, stay))
    return runs


def _cut_by_light(run: _Run, stay: Stay) -> Iterator[_Run]:
    """A step that nothing but the light shows, such as summer time."""
    told = np.isfinite(run.grey)
    few = int(told.sum()) < 2 * FEWEST_FOR_LIGHT
    if few or stay.latitude_deg is None or stay.longitude_deg is None or not _may_be(run, stay, 0.0, -np.inf):
        yield run
        return
    step = step_by_daylight(
        run.shown[told], run.grey[told] > 0.5, changes_s=stay.changes_s,
        utc_offset_min=0.0, latitude_deg=stay.latitude_deg, longitude_deg=stay.longitude_deg,
    )  # fmt: skip
    if step is None:
        yield run
        return
    at, legal = step.after_s, step.legal_s is not None
    if step.legal_s is not None:
        at = step.legal_s
    elif step.hour:
        near = [c for c in stay.changes_s if step.before_s - NEAR_CHANGE_S <= c <= step.after_s + NEAR_CHANGE_S]
        if near:
            at, legal = near[0], True
    early = run.shown < at
    sides: tuple[tuple[Bools, Literal["ends", "begins"]], ...] = ((early, "ends"), (~early, "begins"))
    for part, where in sides:
        if part.any():
            yield replace(
                run, index=run.index[part], shown=run.shown[part], grey=run.grey[part],
                hour_at=where if legal else "", went_back=run.went_back and where == "ends",
            )  # fmt: skip


def _of_run(run: _Run, stay: Stay, light: _Lights, *, after: float, first: bool, last: bool) -> list[_Guess]:
    """What is wrong with one run: empty where its clock may be right, else the fault.

    Behind it what else would explain it; then the first has no shift.
    """
    right = _may_be(run, stay, 0.0, after)
    lit = light.fits(0.0)
    if right and lit is not False:
        ends = _ends(run, stay) if first and last and lit is None else None
        return [] if ends is None else [_Guess("offset", ends, ("ends",), ENDS_AGREE_S)]
    if right:
        return _by_hour(light, run, stay, after)
    possible = [
        g
        for g in _guesses(run, stay, light, first=first, last=last)
        if g.add_s is not None and _may_be(run, stay, g.add_s, after)
    ]
    fitting = [g for g in possible if light.fits(g.add_s or 0.0) is not False]
    if not fitting:
        kind: Kind = "out of order" if _may_be(run, stay, 0.0, -np.inf) else "outside"
        nothing = _Guess(kind, None, ("order",) if kind == "out of order" else ("stay",), None)
        return [nothing, *_at_an_end(run, stay, after, first=first, last=last)]
    best = min(fitting, key=lambda g: (-g.strength, abs(g.add_s or 0.0)))
    equal = [g for g in fitting if g.strength == best.strength]
    if any(abs((g.add_s or 0.0) - (best.add_s or 0.0)) > HOUR_S for g in equal):
        return [_Guess("outside", None, ("stay",), None), *equal]
    return [_named(best, fitting, light)]


def _named(best: _Guess, fitting: list[_Guess], light: _Lights) -> _Guess:
    """The same shift under the name that the trade has for it, with all that it rests on."""
    add = best.add_s or 0.0
    same = [g for g in fitting if abs((g.add_s or 0.0) - add) <= ENDS_AGREE_S]
    # A clock that was only set to another year is otherwise right, so that shift is the exact one.
    named = next((g for g in same if g.kind in ("wrong year", "day and month swapped", "half a day")), best)
    basis = list(dict.fromkeys(b for g in (best, *same) for b in g.rests_on))
    if light.fits(add) and "light" not in basis:
        basis.append("light")
    return replace(best, kind=named.kind, add_s=named.add_s, rests_on=tuple(basis))


def _at_an_end(run: _Run, stay: Stay, after: float, *, first: bool, last: bool) -> Iterator[_Guess]:
    """Shifts that make the visit of one end of the run, for a person to look at."""
    if first and stay.begun_s is not None and _may_be(run, stay, add := stay.begun_s - run.first_s, after):
        yield _Guess("outside", add, ("ends",))
    if last and stay.ended_s is not None and _may_be(run, stay, add := stay.ended_s - run.last_s, after):
        yield _Guess("outside", add, ("ends",))


def _may_be(run: _Run, stay: Stay, add_s: float, after: float) -> bool:
    if run.last_s + add_s > stay.until_s + SLACK_S:
        return False
    low = after if stay.begun_s is None else max(after, stay.begun_s - SLACK_S)
    return run.first_s + add_s >= low


def _guesses(run: _Run, stay: Stay, light: _Lights, *, first: bool, last: bool) -> Iterator[_Guess]:
    """The ways of being wrong that the trade knows, for a run that cannot be right."""
    for reading in stay.readings:
        shown = reading.shown_s - 60.0 * stay.utc_offset_min
        if run.first_s - DAY_S <= shown <= run.last_s + DAY_S:
            yield _Guess("offset", reading.true_s - shown, ("reading", "stay"), 60.0, READ)
    kind: Kind = "factory date" if _from_factory(run, stay) else "set elsewhere"
    if first and last and (add := _ends(run, stay, least_s=0.0)) is not None:
        yield _Guess(kind if kind == "factory date" else "offset", add, ("ends", "stay"), ENDS_AGREE_S, BOTH_ENDS)
    for hours in (-12, 12):
        yield _Guess("half a day", hours * HOUR_S, ("stay",), SLACK_S, OF_THE_TRADE)
    if first and stay.begun_s is not None:
        set_at = datetime.fromtimestamp(stay.begun_s, UTC)
        for wrong, name in _misset(set_at):
            yield _Guess(name, stay.begun_s - wrong.timestamp(), ("stay",), SLACK_S, OF_THE_TRADE)
        yield from _one_end(kind, stay.begun_s - run.first_s, light)
    if last and stay.ended_s is not None:
        yield from _one_end(kind, stay.ended_s - run.last_s, light)


def _one_end(kind: Kind, add_s: float, light: _Lights) -> Iterator[_Guess]:
    """The end of a run is the person's visit, if the light puts the clock there too; and then by the light's minute."""
    if light.narrow(add_s) and light.fits(add_s):
        yield _Guess(
            kind, add_s - 60.0 * (light.off_min(add_s) or 0.0), ("ends", "stay"), 60.0 * LEAST_BY_LIGHT_MIN, ONE_END
        )


def _misset(set_at: datetime) -> Iterator[tuple[datetime, Kind]]:
    for more in YEARS:
        if more:
            try:
                yield set_at.replace(year=set_at.year + more), "wrong year"
            except ValueError:  # 29 February
                yield set_at.replace(year=set_at.year + more, month=3, day=1), "wrong year"
    if set_at.day <= 12 and set_at.day != set_at.month:
        yield set_at.replace(month=set_at.day, day=set_at.month), "day and month swapped"


def _from_factory(run: _Run, stay: Stay) -> bool:
    """Whether a run begins on a 1 January, within its first hours, as a clock does that lost its power."""
    begun = raw_from_seconds(run.first_s + 60.0 * stay.utc_offset_min)
    return (begun.month, begun.day) == (1, 1) and begun.hour < 12


def _ends(run: _Run, stay: Stay, *, least_s: float = LEAST_BY_ENDS_S) -> float | None:
    """What to add so that the first picture is of the visit that put the card in, and the last of that which took it."""
    if stay.begun_s is None or stay.ended_s is None:
        return None
    at_first, at_last = stay.begun_s - run.first_s, stay.ended_s - run.last_s
    if abs(at_first - at_last) > ENDS_AGREE_S or abs(at_first) < least_s:
        return None
    return (at_first + at_last) / 2


def _by_hour(light: _Lights, run: _Run, stay: Stay, after: float) -> list[_Guess]:
    """The date may be right, the hour is not."""
    told = light.at(0.0)
    if not isinstance(told, ByDaylight):
        hours: list[tuple[Kind, float]] = [("an hour", -HOUR_S), ("an hour", HOUR_S)]
        hours += [("half a day", -12 * HOUR_S), ("half a day", 12 * HOUR_S)]
        able = [(k, a) for k, a in hours if light.fits(a) and _may_be(run, stay, a, after)]
        one = able if len({wrapped(a / 60.0) for _, a in able}) == 1 and light.narrow(0.0) else []
        return [_Guess(k, a, ("light",), 60.0 * LEAST_BY_LIGHT_MIN) for k, a in one[:1]]
    fast, half = told.fast_min, told.half_width_min
    doubt = 60.0 * half
    if abs(abs(fast) - 720.0) <= max(half, 15.0):
        # 12 hours ahead and 12 hours behind are one to the light; the stay may tell them apart.
        ways = [add for add in (-12 * HOUR_S, 12 * HOUR_S) if _may_be(run, stay, add, after)]
        both = [run.first_s + add - (stay.begun_s or -np.inf) for add in ways]
        add = ways[int(np.argmin(np.abs(both)))] if ways else -12 * HOUR_S
        return [_Guess("half a day", add, ("light",), doubt)]
    near = 60.0 * round(fast / 60.0)
    if near and abs(near) <= 120 and abs(fast - near) <= max(half, 10.0):
        return [_Guess("summer time" if run.hour_at and abs(near) == 60 else "an hour", -60.0 * near, ("light",), doubt)]
    return [_Guess("offset", -60.0 * fast, ("light",), doubt)]


def _by_readings(shown: Floats, known: NDArray[np.intp], stay: Stay) -> tuple[Fault, ...]:
    """Between two readings of a clock that nobody set meanwhile, nothing else is needed: an offset or an even drift.

    Empty unless all pictures lie between readings on a clock that only went forward, and the readings say it is out.
    """
    own = 60.0 * stay.utc_offset_min
    times = shown[known]
    out = []
    for one, two in pairwise(stay.readings):
        here = known[(times >= one.shown_s - HOUR_S) & (times < two.shown_s + HOUR_S)]
        days = (two.shown_s - one.shown_s) / DAY_S
        if days <= 0 or len(here) == 0 or (np.diff(shown[here]) < -BACK_S).any():
            return ()
        first, second = (r.true_s - (r.shown_s - own) for r in (one, two))
        drift = (second - first) / days
        if abs(drift) > MOST_DRIFT_S_PER_DAY:
            return ()
        if max(abs(first), abs(second)) >= LEAST_BY_READING_S:
            out.append(
                Fault(
                    kind="drift" if abs(second - first) >= LEAST_BY_READING_S else "offset",
                    first=int(here[0]),
                    last=int(here[-1]),
                    from_s=min(one.shown_s, float(shown[here].min())),
                    to_s=max(two.shown_s, float(shown[here].max()) + 1.0),
                    add_s=first,
                    doubt_s=60.0,
                    rests_on=("reading",),
                    drift_s_per_day=drift,
                )
            )
    covered = sum(f.last - f.first + 1 for f in out)
    return tuple(out) if covered >= len(known) else ()


def _as_fault(run: _Run, guess: _Guess, own: float, *, others: tuple[float | None, ...] = ()) -> Fault:
    return Fault(
        kind=guess.kind, first=int(run.index[0]), last=int(run.index[-1]),
        from_s=run.first_s + own, to_s=run.last_s + own + 1.0,
        add_s=guess.add_s, doubt_s=guess.doubt_s, rests_on=guess.rests_on,
        others=tuple(add for add in others if add is not None),
    )  # fmt: skip


def which_end(add_s: float, fault: Fault, stay: Stay) -> Literal["first", "last"] | None:
    """Which picture of a fault's stretch a shift makes one of a visit: its first, its last, or neither."""
    own = 60.0 * stay.utc_offset_min
    if stay.begun_s is not None and abs(stay.begun_s - (fault.from_s - own) - add_s) < 1:
        return "first"
    if stay.ended_s is not None and abs(stay.ended_s - (fault.to_s - 1.0 - own) - add_s) < 1:
        return "last"
    return None


def mended(shown_s: ArrayLike, found: Sequence[Fault], *, utc_offset_min: float) -> Floats:
    """The pictures' times as the faults' shifts would have them. [Unix s], NaN where a fault's shift is not known."""
    out = np.asarray(shown_s, dtype=np.float64) - 60.0 * utc_offset_min
    shown = np.asarray(shown_s, dtype=np.float64)
    for fault in found:
        part = slice(fault.first, fault.last + 1)
        here = (shown[part] >= fault.from_s) & (shown[part] < fault.to_s)
        add = (
            np.nan if fault.add_s is None else fault.add_s + fault.drift_s_per_day * (shown[part] - fault.from_s) / DAY_S
        )
        out[part] = np.where(here, out[part] + add, out[part])
    return out
