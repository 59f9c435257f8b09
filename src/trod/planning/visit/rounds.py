"""A round: which cameras to visit on which day, by whom, in which order, and what is left for another time.

What a visit is worth comes in as a number, the camera-days it saves; upkeep works that out. Times are the
reserve's own wall clock, minutes after midnight, without a zone: the caller adds it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta, tzinfo
from typing import Literal

import numpy as np

from trod.errors import WrongInput
from trod.planning.visit.ordering import (
    NEVER_S,
    NO_WAY_S,
    Crew,
    Ordering,
    Searcher,
    Task,
    order,
    time_of,
)
from trod.planning.visit.travel import HowGone, Line, NoWay, Place, Way, Ways
from trod.planning.visit.upkeep import CAMERA_DAY_MIN
from trod.sky import CIVIL_DEG, RISE_SET_ELEVATION_DEG, sun_position, sun_times

DAY_MIN = 24 * 60
MOST_STOPS = 400
MOST_CREWS = 60
LADDER_KG = 6.0  # a light ladder of three metres, carried once for all stops of a day that need it; assumed

Light = Literal["civil twilight", "sun up"]


@dataclass(frozen=True, kw_only=True)
class Span:
    """A stretch of one day. [minutes after midnight, wall clock]"""

    from_min: float
    to_min: float

    def __post_init__(self) -> None:
        if not 0 <= self.from_min < self.to_min <= DAY_MIN:
            raise WrongInput("span", got=(self.from_min, self.to_min), needed="two times of one day, the earlier first")

    def and_also(self, other: Span) -> Span | None:
        """What both allow; None when they share no time."""
        begin, end = max(self.from_min, other.from_min), min(self.to_min, other.to_min)
        return Span(from_min=begin, to_min=end) if begin < end else None


@dataclass(frozen=True, kw_only=True)
class RoundDay:
    """One day of the round. out : when people may be away. light : when they may be at a camera."""

    day: date
    out: Span
    light: Span | None = None


@dataclass(frozen=True, kw_only=True)
class Party:
    """People who go together. people : how many. most_load_kg : what they carry at most, for the day.

    days : those they can go on; None is all. rest_min : kept free in each day for rest and for what goes wrong.
    """

    name: str
    people: int = 1
    most_load_kg: float | None = None
    days: frozenset[date] | None = None
    rest_min: float = 30.0

    def __post_init__(self) -> None:
        if not (isinstance(self.people, int) and 1 <= self.people <= 50):
            raise WrongInput(f"people of {self.name!r}", got=self.people, needed="a whole number from 1 to 50")
        if self.most_load_kg is not None and not 0 <= self.most_load_kg <= 10_000:
            raise WrongInput(f"most_load_kg of {self.name!r}", got=self.most_load_kg, needed="kilograms, 0 or more")
        if not 0 <= self.rest_min < DAY_MIN:
            raise WrongInput(f"rest_min of {self.name!r}", got=self.rest_min, needed="minutes from 0 to a day")


@dataclass(frozen=True, kw_only=True)
class Stop:
    """A site that may be visited.

    there_min : how long the visit takes. saves_days : camera-days that a visit saves, one number for each day of
    the round or one for all. must : go even if it is not worth the way. window : when one may be there; closed :
    days on which one may not, with the reason. load_kg : carried there. people : it takes so many together.
    ladder : needs one, which is carried beside the load. climb_m : as of a `Place`. why, work, access, caution : words
    for the sheet.
    """

    key: str
    name: str
    latitude_deg: float
    longitude_deg: float
    there_min: float = 20.0
    saves_days: float | tuple[float, ...] = 0.0
    must: bool = False
    window: Span | None = None
    closed: Mapping[date, str] = field(default_factory=dict)
    load_kg: float = 0.0
    people: int = 1
    ladder: bool = False
    walk_in_m: float = 0.0
    climb_m: float | None = None
    sensitive: bool = False
    why: str = ""
    work: tuple[str, ...] = ()
    access: str = ""
    caution: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.there_min <= DAY_MIN:
            raise WrongInput(f"there_min of {self.key!r}", got=self.there_min, needed="minutes from 0 to a day")
        saves = self.saves_days if isinstance(self.saves_days, tuple) else (self.saves_days,)
        if not all(0 <= value <= 1e6 for value in saves):
            raise WrongInput(f"saves_days of {self.key!r}", got=self.saves_days, needed="camera-days, 0 or more")
        if not 0 <= self.load_kg <= 10_000:
            raise WrongInput(f"load_kg of {self.key!r}", got=self.load_kg, needed="kilograms, 0 or more")
        if not (isinstance(self.people, int) and 1 <= self.people <= 50):
            raise WrongInput(f"people of {self.key!r}", got=self.people, needed="a whole number from 1 to 50")
        _ = self.place

    @property
    def place(self) -> Place:
        """Where it is, for the tables of ways."""
        return Place(
            key=self.key,
            latitude_deg=self.latitude_deg,
            longitude_deg=self.longitude_deg,
            walk_in_m=self.walk_in_m,
            climb_m=self.climb_m,
        )

    def saves_on(self, number: int) -> float:
        """Camera-days saved by a visit on that day of the round, counted from 0."""
        return self.saves_days[number] if isinstance(self.saves_days, tuple) else self.saves_days


def carried_kg(stops: Sequence[Stop]) -> float:
    """What is carried on a day to these stops: their loads, and one ladder where any needs it. [kg]"""
    return sum(stop.load_kg for stop in stops) + (LADDER_KG if any(stop.ladder for stop in stops) else 0.0)


@dataclass(frozen=True, kw_only=True)
class StopTime:
    """One visit of a plan. number : its turn on that trip, from 1. arrive, leave : wall clock, naive.

    wait_min : at the site before the visit may begin. way : how they come there, from the stop before.
    line : that way as points. saves_days : what it saves on that day.
    """

    number: int
    stop: Stop
    arrive: datetime
    leave: datetime
    wait_min: float
    way: Way
    line: Line
    saves_days: float


@dataclass(frozen=True, kw_only=True)
class Trip:
    """One party on one day. back : the way home from the last stop."""

    day: date
    party: Party
    leave: datetime
    home: datetime
    visits: tuple[StopTime, ...]
    back: Way
    back_line: Line
    load_kg: float

    @property
    def ways(self) -> tuple[Way, ...]:
        """All ways of the trip, the one home with them."""
        return (*(visit.way for visit in self.visits), self.back)

    @property
    def walk_min(self) -> float:
        """Minutes on foot between the sites."""
        return sum(way.walk_min for way in self.ways)

    @property
    def drive_min(self) -> float:
        """Minutes in the car."""
        return sum(way.drive_min for way in self.ways)

    @property
    def walk_m(self) -> float:
        """Metres on foot between the sites."""
        return sum(way.walk_m for way in self.ways)

    @property
    def drive_m(self) -> float:
        """Metres in the car."""
        return sum(way.drive_m for way in self.ways)

    @property
    def climb_m(self) -> float | None:
        """Uphill metres on foot; None when heights are not known."""
        climbs = [way.climb_m for way in self.ways]
        return None if any(c is None for c in climbs) else sum(c for c in climbs if c is not None)

    @property
    def saves_days(self) -> float:
        """Camera-days that the trip saves."""
        return sum(visit.saves_days for visit in self.visits)


LeftWhy = Literal[
    "you left it out", "you named others", "not in your order", "saves nothing", "no room beside better", "no room",
    "costs more", "no access", "far away", "closed", "hours too short", "people", "load", "too long a way",
]  # fmt: skip
# Why no stop can be gone to at all, whatever it is worth.
SHUT: tuple[LeftWhy, ...] = ("closed", "hours too short", "no access", "far away")
Scope = Literal["what pays", "as many as fit", "in your order"]


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A stop that is not in the plan, and why. more_min : what the cheapest way to add it costs, if there is one.

    detail : the reason that is noted of a closure. no_way : why no way leads there. number : of days closed or far,
    people, kilograms, minutes of the way out. `trod.telling.rounds` words it.
    """

    stop: Stop
    why: LeftWhy
    saves_days: float
    more_min: float | None = None
    detail: str = ""
    no_way: NoWay | None = None
    number: float = 0.0


class CannotBeVisited(WrongInput):
    """A stop that must be visited and cannot be. left : why, for whoever words it."""

    def __init__(self, left: LeftOut, *, what: str, needed: str) -> None:
        got = f"{left.why} ({left.detail})" if left.detail else left.why
        super().__init__(what, got=got, needed=needed)
        self.left = left


@dataclass(frozen=True, kw_only=True)
class RoundPlan:
    """What was planned.

    trips : by day and party. searcher, seed, ways, worth_min : how it was found. scope : what was asked for.
    """

    trips: tuple[Trip, ...]
    left_out: tuple[LeftOut, ...]
    start: Place
    searcher: Literal["pyvrp", "own"]
    seed: int
    ways: HowGone
    worth_min: float
    scope: Scope = "what pays"

    @property
    def saves_days(self) -> float:
        """Camera-days that the round saves."""
        return sum(trip.saves_days for trip in self.trips)

    @property
    def stops(self) -> int:
        """Visits in all."""
        return sum(len(trip.visits) for trip in self.trips)


def daylight(
    day: date,
    *,
    latitude_deg: float,
    longitude_deg: float,
    zone: tzinfo,
    light: Light = "civil twilight",
    margin_min: float = 0.0,
) -> Span | None:
    """When it is light enough to go: between the civil twilights, or sunrise and sunset, on the wall clock.

    margin_min : taken off at both ends. Returns None when there is no such light that day. Hills are not in it.
    Raises WrongInput for a kind of light that it does not know.
    """
    if light not in ("civil twilight", "sun up"):
        raise WrongInput("light", got=light, needed="civil twilight or sun up")
    if not 0 <= margin_min <= 12 * 60:
        raise WrongInput("margin_min", got=margin_min, needed="minutes from 0 to half a day")
    sun = sun_times(day, latitude_deg=latitude_deg, longitude_deg=longitude_deg, zone=zone)
    begin, end = (sun.civil_dawn, sun.civil_dusk) if light == "civil twilight" else (sun.rise, sun.set)
    if begin is None and end is None:
        # Light or dark all day long: the sun's height at noon tells which.
        height, _ = sun_position(sun.noon.timestamp(), latitude_deg=latitude_deg, longitude_deg=longitude_deg)
        if float(height) < (CIVIL_DEG if light == "civil twilight" else RISE_SET_ELEVATION_DEG):
            return None
    from_min = 0.0 if begin is None else begin.hour * 60 + begin.minute + begin.second / 60
    to_min = float(DAY_MIN) if end is None else end.hour * 60 + end.minute + end.second / 60
    if to_min <= from_min:  # the light that ends after midnight began before it
        to_min = float(DAY_MIN)
    from_min, to_min = from_min + margin_min, to_min - margin_min
    return Span(from_min=from_min, to_min=to_min) if from_min < to_min else None


def plan_round(
    stops: Sequence[Stop],
    *,
    start: Place,
    days: Sequence[RoundDay],
    parties: Sequence[Party],
    ways: Ways,
    worth_min: float = CAMERA_DAY_MIN,
    seed: int = 1,
    searcher: Searcher = "auto",
    patience: int | None = None,
) -> RoundPlan:
    """Choose stops for some days, share them among the parties and put them in order.

    ways : between `start` and all stops, by their keys. worth_min : minutes of work that one saved camera-day is
    worth; a stop is left out when it costs more. Every party leaves from the start and comes back to it, each day.
    Returns the plan with what was left out and why; the same input and seed give the same plan.
    Raises WrongInput for what cannot be planned, such as a stop that must be visited and cannot be.
    """
    _check(stops, start, days, parties, worth_min)
    problem = _Problem(stops, start, days, parties, ways, worth_min)
    found = order(problem.travel_s, problem.tasks, problem.crews, seed=seed, searcher=searcher, patience=patience)
    trips = problem.trips(found)
    left = problem.left_out(found)
    return RoundPlan(
        trips=trips,
        left_out=left,
        start=start,
        searcher=found.searcher,
        seed=seed,
        ways=ways.how,
        worth_min=worth_min,
    )


def _check(
    stops: Sequence[Stop], start: Place, days: Sequence[RoundDay], parties: Sequence[Party], worth_min: float
) -> None:
    if len(stops) > MOST_STOPS:
        raise WrongInput("stops", got=len(stops), needed=f"at most {MOST_STOPS}; part the reserve")
    keys = [start.key, *(stop.key for stop in stops)]
    if len(set(keys)) < len(keys):
        raise WrongInput("stops", got=sorted({k for k in keys if keys.count(k) > 1}), needed="each place once")
    dates = [day.day for day in days]
    if not dates or sorted(set(dates)) != dates:
        raise WrongInput("days", got=[d.isoformat() for d in dates], needed="one day or more, each once, in order")
    names = [party.name for party in parties]
    if not names or len(set(names)) < len(names):
        raise WrongInput("parties", got=names, needed="one party or more, each with a name of its own")
    if len(days) * len(parties) > MOST_CREWS:
        raise WrongInput("days and parties", got=len(days) * len(parties), needed=f"at most {MOST_CREWS} trips")
    if not 0 <= worth_min <= DAY_MIN:
        raise WrongInput("worth_min", got=worth_min, needed="minutes from 0 to a day")
    for stop in stops:
        if isinstance(stop.saves_days, tuple) and len(stop.saves_days) != len(days):
            raise WrongInput(
                f"saves_days of {stop.key!r}",
                got=f"{len(stop.saves_days)} numbers",
                needed=f"one for each of the {len(days)} days, or one for all",
            )


class _Problem:
    """The stops, days and parties as tasks and crews, and the answer back as trips."""

    def __init__(
        self,
        stops: Sequence[Stop],
        start: Place,
        days: Sequence[RoundDay],
        parties: Sequence[Party],
        ways: Ways,
        worth_min: float,
    ) -> None:
        self.stops, self.start, self.days, self.parties, self.ways = stops, start, days, parties, ways
        self.worth_min = worth_min
        rows = [ways.index(start.key), *(ways.index(stop.key) for stop in stops)]
        minutes = ways.minutes[np.ix_(rows, rows)]
        seconds = np.where(np.isfinite(minutes), np.round(minutes * 60), NO_WAY_S)
        self.travel_s = np.minimum(seconds, NO_WAY_S).astype(np.int64)
        # Where one of the stops needs a ladder, room for it is kept with every party: who goes there is not yet known.
        up = LADDER_KG if any(stop.ladder for stop in stops) else 0.0
        self.crews: list[Crew] = []
        self.who: list[tuple[int, Party]] = []
        for number, day in enumerate(days):
            for party in parties:
                if party.days is not None and day.day not in party.days:
                    continue
                late = day.out.to_min - party.rest_min
                if late <= day.out.from_min:
                    continue
                self.crews.append(
                    Crew(
                        early_s=self._second(number, day.out.from_min),
                        late_s=self._second(number, late),
                        # Grams, so that rounding cannot fill a rucksack.
                        most_load=None if (most := party.most_load_kg) is None else max(0, round((most - up) * 1000)),
                        hands=party.people,
                    )
                )
                self.who.append((number, party))
        if not self.crews:
            raise WrongInput("parties", got="none that can go on any of the days", needed="a party with time to go")
        self.tasks: list[Task] = []
        self.task_stop: list[int] = []
        self.task_day: list[int | None] = []
        self.never: dict[int, LeftOut] = {}
        for number, stop in enumerate(stops):
            self._add(number, stop)

    @staticmethod
    def _second(day: int, minutes: float) -> int:
        return day * 86_400 + round(minutes * 60)

    def _span_on(self, stop: Stop, day: RoundDay) -> Span | None:
        """When one may be at the stop that day."""
        if day.day in stop.closed:
            return None
        span: Span | None = day.out
        for other in (day.light, stop.window):
            if span is not None and other is not None:
                span = span.and_also(other)
        return span

    def _add(self, number: int, stop: Stop) -> None:
        """The stop as a task, or as one for each day when the days differ for it."""
        spans = {d: span for d, day in enumerate(self.days) if (span := self._span_on(stop, day)) is not None}
        lasts = {d: span for d, span in spans.items() if span.to_min - span.from_min >= stop.there_min}
        never = self._why_never(number, stop, lasts)
        if never is not None:
            if stop.must:
                what = f"stop {stop.name!r}, which must be visited"
                raise CannotBeVisited(never, what=what, needed="a way to go there")
            self.never[number] = never
            return
        told = {
            "node": number + 1,
            "there_s": round(stop.there_min * 60),
            "load": round(stop.load_kg * 1000),
            "hands": stop.people,
        }
        free = len(lasts) == len(self.days) and all(lasts[d] == day.out for d, day in enumerate(self.days))
        same = not isinstance(stop.saves_days, tuple) or len(set(stop.saves_days)) == 1
        for d in [None] if free and same else sorted(lasts):
            span = None if d is None else lasts[d]
            self.tasks.append(
                Task(
                    **told,
                    worth_s=round(stop.saves_on(d or 0) * self.worth_min * 60),
                    must=stop.must,
                    early_s=0 if d is None or span is None else self._second(d, span.from_min),
                    late_s=NEVER_S if d is None or span is None else self._second(d, span.to_min - stop.there_min),
                    either=None if d is None else number,
                )
            )
            self.task_stop.append(number)
            self.task_day.append(d)

    def _why_never(self, number: int, stop: Stop, spans: Mapping[int, Span]) -> LeftOut | None:
        """Why a stop cannot be visited on any of the days, whatever else is planned; None when it can be."""

        def never(why: LeftWhy, *, detail: str = "", number: float = 0.0, no_way: NoWay | None = None) -> LeftOut:
            saves = max(stop.saves_on(d) for d in range(len(self.days)))
            return LeftOut(stop=stop, why=why, saves_days=saves, detail=detail, number=number, no_way=no_way)

        if stop.key in self.ways.missing:
            return never("no access", no_way=self.ways.missing[stop.key])
        there, back = int(self.travel_s[0, number + 1]), int(self.travel_s[number + 1, 0])
        if max(there, back) >= NO_WAY_S:
            hours = float(self.ways.minutes[self.ways.index(self.start.key), self.ways.index(stop.key)]) / 60
            return never("far away", number=hours / 24) if math.isfinite(hours) else never("no access")
        if not spans:
            reasons = list(dict.fromkeys(stop.closed[d.day] or "closed" for d in self.days if d.day in stop.closed))
            if len([d for d in self.days if d.day in stop.closed]) == len(self.days):
                return never("closed", detail=", ".join(reasons), number=len(self.days))
            return never("hours too short")
        able = [k for k, (_, party) in enumerate(self.who) if party.people >= stop.people]
        if not able:
            return never("people", number=stop.people)
        load = round(stop.load_kg * 1000)
        if all((most := self.crews[k].most_load) is not None and most < load for k in able):
            return never("load", number=stop.load_kg)
        for k in able:
            d, crew = self.who[k][0], self.crews[k]
            if d not in spans or (crew.most_load is not None and crew.most_load < load):
                continue
            arrive = max(crew.early_s + there, self._second(d, spans[d].from_min))
            gone = arrive + round(stop.there_min * 60)
            if gone <= self._second(d, spans[d].to_min) and gone + back <= crew.late_s:
                return None
        return never("too long a way", number=there / 60)

    def trips(self, found: Ordering) -> tuple[Trip, ...]:
        """The order as trips, with times on the wall clock."""
        return tuple(self._trip(k, route) for k, route in enumerate(found.routes) if route)

    def _trip(self, crew_number: int, route: Sequence[int]) -> Trip:
        d, party = self.who[crew_number]
        timing = time_of(route, self.tasks, self.crews[crew_number], self.travel_s)
        assert timing is not None, "a searcher gave an order that cannot be kept"
        midnight = datetime.combine(self.days[d].day, time(0))

        def wall(second: int) -> datetime:
            return midnight + timedelta(seconds=second - d * 86_400)

        visits, here = [], self.start.key
        for turn, t in enumerate(route):
            stop = self.stops[self.task_stop[t]]
            visits.append(
                StopTime(
                    number=turn + 1,
                    stop=stop,
                    arrive=wall(timing.arrive_s[turn]),
                    leave=wall(timing.end_s[turn]),
                    wait_min=(timing.begin_s[turn] - timing.arrive_s[turn]) / 60,
                    way=self.ways.way(here, stop.key),
                    line=self.ways.line(here, stop.key),
                    saves_days=stop.saves_on(d),
                )
            )
            here = stop.key
        return Trip(
            day=self.days[d].day,
            party=party,
            leave=wall(timing.leave_s),
            home=wall(timing.home_s),
            visits=tuple(visits),
            back=self.ways.way(here, self.start.key),
            back_line=self.ways.line(here, self.start.key),
            load_kg=carried_kg([visit.stop for visit in visits]),
        )

    def left_out(self, found: Ordering) -> tuple[LeftOut, ...]:
        """What is not in the plan, the greatest loss first, each with its reason."""
        done = {self.task_stop[t] for route in found.routes for t in route}
        left = []
        for number, stop in enumerate(self.stops):
            if number in done:
                continue
            saves = max(stop.saves_on(d) for d in range(len(self.days)))
            if number in self.never:
                left.append(self.never[number])
                continue
            more = self._least_more(number, found)
            if more is None:
                left.append(LeftOut(stop=stop, why="no room beside better", saves_days=saves))
            else:
                left.append(LeftOut(stop=stop, why="costs more", saves_days=saves, more_min=more))
        return tuple(sorted(left, key=lambda one: (-one.saves_days, one.stop.key)))

    def _least_more(self, number: int, found: Ordering) -> float | None:
        """Minutes by which the plan grows with the stop put where it costs least; None when it fits nowhere."""
        best: int | None = None
        for t in (t for t, s in enumerate(self.task_stop) if s == number):
            for k, route in enumerate(found.routes):
                now = time_of(route, self.tasks, self.crews[k], self.travel_s)
                for place in range(len(route) + 1):
                    made = (*route[:place], t, *route[place:])
                    with_it = time_of(made, self.tasks, self.crews[k], self.travel_s)
                    if with_it is not None and now is not None:
                        more = with_it.away_s - now.away_s
                        best = more if best is None else min(best, more)
        return None if best is None else best / 60
