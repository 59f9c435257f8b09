"""Who is due for a visit, and a round planned, kept, and put in another order: the catalogue's rows to
`trod.planning.rounds` and back.

What a visit saves is counted in camera-days, from the day of the visit until somebody comes by again:

    the chance of standing dead, summed over those days, less what faults would take in any case
    + the days of pictures that hang out there, times the chance that camera and card are lost until then
    + a tenth of the days if its clock is known to be wrong (ours: times are mended later, but not always)
    − the days that the site stays quiet after somebody was there
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from django.db import transaction

from trod import watch
from trod.errors import TrodError, WrongInput
from trod.planning import byhand, spares, tracks, travel
from trod.planning import kit as kits
from trod.planning import rounds as core
from trod.planning.rounds import LeftOut, Party, RoundDay, RoundPlan, Span, Stop, Trip
from trod.planning.travel import Place, Ways
from trod.planning.upkeep import DISTURBANCE_DAYS, Access, Standing, VisitPrice, best_day_for_round
from trod.report import sentences
from trod.web.catalogue import forecasts, outfits, round_plain
from trod.web.catalogue.forecasts import Forecast
from trod.web.catalogue.round_plain import Planned
from trod.web.catalogue.wishes import Wish
from trod.web.models import Deployment, Reserve, Round, RoundStop, Site, Visit

START = "@start"  # no slug looks like this
CLOCK_S = 120.0  # a clock that is out by more is wrong; the same as on Today
CLOCK_SHARE = 0.1
VISIT_MIN = 15.0  # card, cells, lens, clock; assumed
WALK_TEST_MIN = 10.0  # assumed
LADDER_MIN = 10.0  # assumed
LADDER_M = 2.2  # above this a camera is out of reach; common practice
WALK_IN_M = 150.0  # from car to site, where no track tells; assumed
# A cell of the AA size, by what it is made of; from memory. [kg]
CELL_KG = {"LR6": 0.023, "FR6": 0.015, "HR6": 0.027}
SPACE_DAYS = 3  # a visit that is closer to another one is not called overdue


@dataclass(frozen=True, kw_only=True)
class Due:
    """A site with its standing cameras, and what a visit there is for.

    forecasts : of its cameras; a camera just set may have none yet. why : sentences, the most urgent first.
    work : what to do. saves : camera-days that a visit saves on each day asked for. go_by : of its most urgent camera.
    """

    site: Site
    deployments: tuple[Deployment, ...]
    forecasts: tuple[Forecast, ...]
    why: tuple[str, ...]
    work: tuple[str, ...]
    saves: tuple[float, ...]
    go_by: date | None
    stopped: bool
    there_min: float
    ladder: bool
    walk_test: bool
    wants: kits.Wants
    spare_stops: tuple[spares.Stop, ...] = ()
    load_kg: float = 0.0
    closed: Mapping[date, str] = field(default_factory=dict)

    def chance(self, day: date) -> float | None:
        """The greatest chance of its cameras to have stopped by a day; None without a forecast."""
        return max((f.chance(day) for f in self.forecasts), default=None)


# Who is due -------------------------------------------------------------------------------------------------


def due(reserve: Reserve, now: datetime, *, days: Sequence[date], next_days: int) -> list[Due]:
    """Every site with a standing camera, the one first where a visit saves most. A fixed number of queries."""
    told = forecasts.shown(reserve, now).forecasts
    by_site: dict[int, list[Deployment]] = {}
    standing = list(
        Deployment.objects.filter(site__reserve=reserve, end__isnull=True, start__lte=now)
        .select_related("site", "camera__model", "card")
        .order_by("site__name", "start")
    )
    for d in standing:
        by_site.setdefault(d.site_id, []).append(d)
    visits: dict[int, list[Visit]] = {}
    for visit in Visit.objects.filter(deployment__in=[d.pk for d in standing], at__lte=now).order_by("at"):
        visits.setdefault(visit.deployment_id or 0, []).append(visit)
    tested = set(
        Deployment.objects.filter(pk__in=[d.pk for d in standing], walk_tests__isnull=False).values_list("pk", flat=True)
    )
    today = watch.local(now, reserve.zone).date()
    found = [
        _due(group, told, visits, tested, today=today, zone=reserve.zone, days=days, next_days=next_days)
        for group in by_site.values()
    ]
    return sorted(found, key=lambda d: (-max(d.saves, default=0.0), d.site.name))


def _due(
    group: list[Deployment],
    told: Mapping[str, Forecast],
    visits: Mapping[int, list[Visit]],
    tested: set[int],
    *,
    today: date,
    zone: str,
    days: Sequence[date],
    next_days: int,
) -> Due:
    site = group[0].site
    quiet = DISTURBANCE_DAYS if site.quiet_days is None else site.quiet_days
    closed = {
        day: closure.why
        for closure in outfits.closures_of(site, today=today)
        for day in days
        if closure.holds(day)
    }
    why: list[tuple[float, str]] = []
    work: list[str] = []
    saves = np.zeros(len(days))
    cells: dict[str, int] = {}
    spare_stops: list[spares.Stop] = []
    go_by: list[date] = []
    load = 0.0
    walk_test = ladder = False
    for d in group:
        name = str(d.camera)
        f = told.get(d.slug)
        been = visits.get(d.pk, [])
        card_day = _local(max([d.start, *(v.at for v in been if v.card_in_id)]), zone)
        clock_s = _clock_error(d, been)
        high = (d.height_m or 0.0) > LADDER_M
        ladder = ladder or high
        no_test = d.pk not in tested and not any(v.walk_test for v in been)
        walk_test = walk_test or no_test
        if f is not None:
            each = np.array([_saved(f, day, next_days, hung_days=(day - card_day).days) for day in days])
            saves += each
            why += _reasons(f, days[0], today, next_days)
            if f.go_by is not None:
                go_by.append(f.go_by)
            renew = _cells_fail(f, days[0] + timedelta(days=next_days))
            stop_kit = spares.Stop(
                name=name, cell=f.cells, cells=f.number, stops_before_next=min(1.0, renew),
                days_until_next=float(next_days),
            )  # fmt: skip
            spare_stops.append(stop_kit)
            if f.found_on is not None:
                work.append(f"Find out why {name} stopped ({f.found})")
            if renew > spares.RENEW_ABOVE:
                cells[f.cells] = cells.get(f.cells, 0) + f.number
                load += f.number * CELL_KG.get(f.cells, 0.025)
                work.append(f"Fresh cells for {name}: {f.number} × {f.cells}")
        else:
            why.append((0.0, f"{name} has no forecast yet"))
        work.append(f"Card out, an empty one in{f' ({d.card} is in {name})' if d.card else f' ({name})'}")
        if clock_s is not None:
            saves += CLOCK_SHARE * next_days
            why.append((CLOCK_SHARE * next_days, f"the clock of {name} was {_how_far(clock_s)}"))
            work.append(f"Set the clock of {name}")
        if no_test:
            work.append(f"Walk test of {name}: none is noted since it was set")
        last = _local(max([d.start, *(v.at for v in been)]), zone)
        if (today - last).days >= SPACE_DAYS:
            why.append((-1.0, f"nobody was there for {sentences.plural((today - last).days, 'day')}"))
    work.append("Read the clock, wipe lens and sensor, look at aim, strap and lock")
    saves = np.maximum(0.0, saves - quiet)
    return Due(
        site=site,
        deployments=tuple(group),
        forecasts=tuple(told[d.slug] for d in group if d.slug in told),
        why=tuple(words for _, words in sorted(why, key=lambda w: -w[0])),
        work=tuple(work),
        saves=tuple(float(s) for s in saves),
        go_by=min(go_by, default=None),
        stopped=any(f.found_on is not None for d in group if (f := told.get(d.slug)) is not None),
        there_min=VISIT_MIN * len(group) + WALK_TEST_MIN * walk_test + LADDER_MIN * ladder,
        ladder=ladder,
        walk_test=walk_test,
        wants=kits.Wants(
            site=site.name, cells=_cell_kinds(cells), cards=len(group), ladder=ladder, walk_test=walk_test
        ),
        spare_stops=tuple(spare_stops),
        load_kg=round(load, 2),
        closed=closed,
    )


def _cell_kinds(cells: Mapping[str, int]) -> dict[str, int]:
    """Only cells that have a designation go on the list by kind."""
    out = {}
    for kind, number in cells.items():
        try:
            kits.cell_name(kind)
        except WrongInput:
            continue
        out[kind] = number
    return out


def _local(at: datetime, zone: str) -> date:
    return watch.local(at, zone).date()


def _saved(f: Forecast, day: date, next_days: int, *, hung_days: int) -> float:
    """Camera-days that a visit on this day saves until `next_days` after it; see the head of this module."""
    h = f.faults_per_day or 0.0
    dead = f.lost_days(day + timedelta(days=next_days), since=day)
    after = float(np.sum(-np.expm1(-h * np.arange(next_days))))
    lost_there = -math.expm1(-h * next_days) * max(0, hung_days) * (1 - f.chance(day))
    return max(0.0, dead - after) + lost_there


def _cells_fail(f: Forecast, by: date) -> float:
    """The chance that cells fail by a day, if they stay in: supply by the share of cells among its causes."""
    if f.found_on is not None:
        return 1.0
    n = (by - f.start).days
    supply = f.by_supply[min(n, len(f.by_supply) - 1)] if n >= 0 else 0.0
    of_cells, of_card = f.causes.get("cells", 0.0), f.causes.get("card", 0.0)
    return supply * (of_cells / (of_cells + of_card) if of_cells + of_card > 0 else 1.0)


def _reasons(f: Forecast, day: date, today: date, next_days: int) -> list[tuple[float, str]]:
    if f.found_on is not None:
        return [(1e6, f"{f.camera} was found stopped on {sentences.day(f.found_on)} ({f.found})")]
    n = max(0, (day - f.start).days)
    now = f.by_supply[min(n, len(f.by_supply) - 1)]
    then = f.by_supply[min(n + next_days, len(f.by_supply) - 1)]
    cause = {"cells": "its cells", "card": "its card"}.get(f.cause, "")
    because = f", most likely by {cause}" if cause else ""
    if now >= 0.05:
        return [(100 * now, f"{f.camera} has stopped by then {_times(now)}{because}")]
    if then >= 0.05:
        till = sentences.day(day + timedelta(days=next_days))
        return [(10 * then, f"{f.camera} would stop until {till} {_times(then)}{because}")]
    return [(0.0, f"{f.camera} has power and room for longer")]


def _times(chance: float) -> str:
    return "almost surely" if chance > 0.995 else f"{100 * chance:.0f} times in 100"


def _clock_error(d: Deployment, visits: Sequence[Visit]) -> float | None:
    """How far the camera's clock was out when it was read last; None when right, not read, or set since."""
    for v in reversed(visits):
        if v.clock_shown is not None and v.clock_true is not None:
            error = (v.clock_shown - v.clock_true).total_seconds() - 60 * d.utc_offset_min
            said = f"{v.work} {v.note}".lower()
            return error if abs(error) > CLOCK_S and "clock set" not in said and "set the clock" not in said else None
    return None


def _how_far(error_s: float) -> str:
    size = abs(error_s)
    hours = f"{size / 60:.0f} min" if size < 7200 else f"{size / 3600:.1f} h"
    words = hours if size < 172_800 else f"{size / 86400:.0f} days"
    return f"{words} {'fast' if error_s > 0 else 'slow'} when it was read last"


def best_day(reserve: Reserve, found: Sequence[Due], now: datetime) -> tuple[date | None, str]:
    """The best day for the next round to all cameras, and why, by the rule of upkeep; cameras found stopped want
    somebody today."""
    today = watch.local(now, reserve.zone).date()
    dead = [d.site.name for d in found if d.stopped]
    if dead:
        them = "it" if len(dead) == 1 else "them"
        words = f"{sentences.listed_at_most(dead, 4)} stopped, and nobody set {them} going again."
        return today, f"Go as soon as you can: {words}"
    standings = []
    for d in found:
        for f in d.forecasts:
            gone = (today - f.start).days
            if 0 <= gone < len(f.by_supply) - 2:
                standings.append(
                    Standing(
                        name=f"{d.site.name} ({f.camera})" if len(d.forecasts) > 1 else d.site.name,
                        visited_on=f.start,
                        stopped=np.asarray(f.by_supply),
                        price=VisitPrice(
                            travel_min=0.0,
                            work_min=d.there_min,
                            disturbance_days=DISTURBANCE_DAYS if d.site.quiet_days is None else d.site.quiet_days,
                        ),
                        hazard_per_day=f.faults_per_day,
                        access=Access(closures=outfits.closures_of(d.site, today=today)),
                    )
                )
    if not standings:
        return None, ""
    way = VisitPrice(travel_min=forecasts.TRAVEL_MIN)
    try:
        best = best_day_for_round(standings, today=today, travel_days=way.travel_days)
    except TrodError:
        return None, ""
    return best.day, best.sentence


# Planning ---------------------------------------------------------------------------------------------------


def stop_of(d: Due, wish: Wish) -> Stop:
    """A due site as a stop for the planner."""
    why = sentences.capital("; ".join(d.why[:3]))
    return Stop(
        key=d.site.slug,
        name=d.site.name,
        latitude_deg=d.site.latitude,
        longitude_deg=d.site.longitude,
        there_min=d.there_min,
        saves_days=d.saves,
        must=d.site.slug in wish.must,
        closed=d.closed,
        load_kg=d.load_kg,
        ladder=d.ladder,
        walk_in_m=WALK_IN_M if wish.by_car else 0.0,
        sensitive=d.site.sensitive,
        why=why,
        work=d.work,
        access=d.site.access,
        caution=d.site.safety,
    )


def bare_stop(site: Site, wish: Wish, *, days: Sequence[date], today: date) -> Stop:
    """A site without a camera that somebody wants to go to."""
    closed = {
        day: c.why for c in outfits.closures_of(site, today=today) for day in days if c.holds(day)
    }
    return Stop(
        key=site.slug,
        name=site.name,
        latitude_deg=site.latitude,
        longitude_deg=site.longitude,
        there_min=VISIT_MIN,
        must=True,
        closed=closed,
        walk_in_m=WALK_IN_M if wish.by_car else 0.0,
        sensitive=site.sensitive,
        why="Asked for; no camera stands there",
        access=site.access,
        caution=site.safety,
    )


@dataclass(frozen=True, kw_only=True)
class Ground:
    """All that a plan starts from."""

    start: Place
    days: tuple[RoundDay, ...]
    parties: tuple[Party, ...]
    stops: tuple[Stop, ...]
    left: tuple[LeftOut, ...]
    ways: Ways
    due: Mapping[str, Due]
    assumed: tuple[str, ...]


Step = Callable[[int, int, str], None]


def prepare(reserve: Reserve, wish: Wish, now: datetime) -> Ground:
    """Stops, days, parties and ways for a wish. Raises WrongInput when something is missing, such as the start."""
    at = wish.start(reserve)
    if at is None:
        raise WrongInput(
            "start", got="no place where rounds start", needed="one; set it under Rounds, or give latitude and longitude"
        )
    start = Place(key=START, latitude_deg=at[0], longitude_deg=at[1])
    today = watch.local(now, reserve.zone).date()
    if wish.first < today:
        raise WrongInput("day", got=wish.first.isoformat(), needed=f"today ({today}) or a later day")
    if (wish.first - today).days > 366:
        raise WrongInput("day", got=wish.first.isoformat(), needed="a day within a year")
    found = due(reserve, now, days=wish.dates, next_days=wish.next_days)
    by_slug = {d.site.slug: d for d in found}
    named = set(wish.must) if wish.which == "named" else set(by_slug)
    stops = [stop_of(d, wish) for d in found if d.site.slug not in wish.leave and d.site.slug in named | set(wish.must)]
    left = [
        LeftOut(stop=stop_of(d, wish), reason="you left it out", saves_days=max(d.saves))
        for d in found
        if d.site.slug in wish.leave
    ]
    left += [
        LeftOut(stop=stop_of(d, wish), reason="you named others", saves_days=max(d.saves))
        for d in found
        if d.site.slug not in named | set(wish.must) | set(wish.leave)
    ]
    bare = Site.objects.filter(reserve=reserve, slug__in=[s for s in wish.must if s not in by_slug]).order_by("name")
    stops += [bare_stop(site, wish, days=wish.dates, today=today) for site in bare]
    if not stops:
        raise WrongInput("stops", got="no camera to go to", needed="a deployment that stands, or a site that must be in")
    days = []
    for day in wish.dates:
        light = core.daylight(
            day, latitude_deg=reserve.latitude, longitude_deg=reserve.longitude, zone=reserve.zone_info
        )
        if light is None:
            raise WrongInput("day", got=f"{day}, on which it stays dark", needed="a day with daylight")
        days.append(RoundDay(day=day, out=Span(from_min=wish.from_min, to_min=wish.to_min), light=light))
    rest = min(30.0, (wish.to_min - wish.from_min) / 4)
    parties = tuple(
        Party(name=name[:80], people=n, most_load_kg=wish.most_load_kg, rest_min=rest) for name, n in wish.parties()
    )
    ways, assumed = ways_for(reserve, [start, *(s.place for s in stops)], wish)
    return Ground(
        start=start, days=tuple(days), parties=parties, stops=tuple(stops), left=tuple(left), ways=ways, due=by_slug,
        assumed=assumed,
    )  # fmt: skip


def ways_for(reserve: Reserve, places: Sequence[Place], wish: Wish) -> tuple[Ways, tuple[str, ...]]:
    """Along the reserve's tracks where there are any that serve, else by the straight line; and what was assumed."""
    pace = travel.Pace()
    if wish.by_tracks:
        try:
            known = tracks.tracks_from_geojson(reserve.boundary or {"type": "FeatureCollection", "features": []})
            network = tracks.join(known)
        except WrongInput as trouble:
            none = trouble.got == "no line"
            why = "No track is on the map" if none else f"The tracks could not be used ({trouble.got})"
        else:
            driven = wish.by_car and any(t.drive for t in known)
            ways = tracks.along(places, network, drive=driven, pace=pace)
            said = f"Walking by Tobler's speeds; {pace.drive_kmh:g} km/h on tracks where none is given."
            if wish.by_car and not driven:
                said += " No track on the map is marked for cars, so all of it is on foot."
            return ways, (said,)
    else:
        why = "Straight lines were asked for"
    ways = travel.straight(places, pace=pace, drive=wish.by_car)
    far = f"; {WALK_IN_M:g} m on foot from the car to each site" if wish.by_car else ""
    return ways, (f"{why}: straight lines, made longer by {pace.detour:g}{far}. Assumed.",)


def plan(reserve: Reserve, wish: Wish, now: datetime, *, step: Step | None = None) -> Planned:
    """Plan a round. Raises WrongInput when it cannot be planned."""
    tell = step or (lambda done, total, words: None)
    tell(0, 3, "Working out the ways")
    ground = prepare(reserve, wish, now)
    tell(1, 3, f"Choosing and ordering {sentences.plural(len(ground.stops), 'stop')}")
    made = _planned(ground, wish)
    tell(2, 3, "Writing the lists")
    left = tuple(sorted((*made.left_out, *ground.left), key=lambda x: (-x.saves_days, x.stop.key)))
    return _with_lists(replace(made, left_out=left), ground, wish)


def _planned(ground: Ground, wish: Wish) -> RoundPlan:
    """The planner's answer. With "all", every stop that can be visited must be; those that cannot be stay out with
    their reason, which the planner tells when they need not be."""

    def ask(stops: Sequence[Stop]) -> RoundPlan:
        return core.plan_round(
            stops, start=ground.start, days=ground.days, parties=ground.parties, ways=ground.ways, worth_min=wish.worth_min
        )

    if wish.which != "all":
        return ask(ground.stops)
    stops = [replace(stop, must=True) for stop in ground.stops]
    while True:
        try:
            return ask(stops)
        except WrongInput as trouble:
            at = next((n for n, s in enumerate(stops) if s.must and repr(s.name) in trouble.what), None)
            if at is None or stops[at].key in wish.must:
                raise
            stops[at] = replace(stops[at], must=False)


def in_order(reserve: Reserve, wish: Wish, order: Sequence[tuple[date, str, Sequence[str]]], now: datetime) -> Planned:
    """A round in an order that a person chose: (day, party, slugs of its sites in turn) for each trip."""
    ground = prepare(reserve, wish, now)
    stops = {s.key: s for s in ground.stops}
    trips: list[Trip] = []
    doubts: list[str] = []
    gone: set[str] = set()
    for day, party_name, slugs in order:
        number = next((n for n, d in enumerate(ground.days) if d.day == day), None)
        party = next((p for p in ground.parties if p.name == party_name), None)
        if number is None or party is None:
            raise WrongInput("order", got=f"{day}, {party_name}", needed="a day and a party of this round")
        unknown = [s for s in slugs if s not in stops or s in gone]
        if unknown:
            raise WrongInput("order", got=", ".join(unknown), needed="each stop of this round once")
        gone.update(slugs)
        if slugs:
            trip, said = byhand.in_this_order(
                [stops[s] for s in slugs], number=number, day=ground.days[number], party=party, start=ground.start,
                ways=ground.ways,
            )  # fmt: skip
            trips.append(trip)
            doubts += said
    rest = [
        LeftOut(
            stop=s,
            reason=f"there is no way there: {ground.ways.missing[s.key]}" if s.key in ground.ways.missing
            else "it is not in the order you chose",
            saves_days=max(s.saves_on(n) for n in range(len(ground.days))),
        )
        for s in ground.stops
        if s.key not in gone
    ]  # fmt: skip
    left = tuple(sorted((*rest, *ground.left), key=lambda x: (-x.saves_days, x.stop.key)))
    saved = sum(t.saves_days for t in trips)
    made = RoundPlan(
        trips=tuple(trips),
        left_out=left,
        start=ground.start,
        searcher="own",
        seed=0,
        ways_told=ground.ways.told,
        worth_min=wish.worth_min,
        sentence=f"{sentences.plural(sum(len(t.visits) for t in trips), 'stop')} in the order you chose save about "
        f"{sentences.camera_days(saved)}.",
    )
    return replace(_with_lists(made, ground, wish), doubts=tuple(doubts), by_hand=True)


def _with_lists(made: RoundPlan, ground: Ground, wish: Wish) -> Planned:
    """The plan with its kit lists, cautions and light."""
    lists, light = [], []
    by_day = {d.day: d for d in ground.days}
    for trip in made.trips:
        here = [ground.due[v.stop.key] for v in trip.visits if v.stop.key in ground.due]
        lists.append(_kit(here, going_of(trip, wish)))
        span = by_day[trip.day].light
        if span is not None:
            light.append(f"light from {_clock(span.from_min)} to {_clock(span.to_min)}")
    going = kits.Going(
        alone=any(t.party.people == 1 for t in made.trips),
        by_car=any(t.drive_m > 0 for t in made.trips),
    )
    names = {v.stop.name: v.stop for t in made.trips for v in t.visits}
    return Planned(
        plan=made,
        kits=tuple(lists),
        light=tuple(light),
        cautions=kits.cautions(
            going,
            ladder_sites=[n for n, s in names.items() if s.ladder],
            told={n: s.caution for n, s in names.items()},
        ),
        deployments={slug: tuple(d.slug for d in one.deployments) for slug, one in ground.due.items()},
        assumed=ground.assumed,
    )


def going_of(trip: Trip, wish: Wish) -> kits.Going:
    """How this trip goes, for its kit."""
    return kits.Going(alone=trip.party.people == 1, by_car=trip.drive_m > 0)


def _kit(here: Sequence[Due], going: kits.Going) -> tuple[kits.KitItem, ...]:
    found = spares.kit([s for d in here for s in d.spare_stops])
    extra: dict[str, int] = {}
    for line in found.lines:
        if line.spare and line.what not in ("card", "camera"):
            try:
                kits.cell_name(line.what)
            except WrongInput:
                continue
        if line.spare:
            extra[line.what] = line.spare
    return kits.kit_list([d.wants for d in here], spares=extra, going=going)


def _clock(minutes: float) -> str:
    whole = round(minutes)
    return f"{whole // 60 % 24}:{whole % 60:02d}"


# Keeping ----------------------------------------------------------------------------------------------------


@transaction.atomic
def keep(reserve: Reserve, wish: Wish, planned: Planned, *, by: str, now: datetime, row: Round | None = None) -> Round:
    """Keep a planned round, or put it in place of how it was planned before."""
    row = row or Round(reserve=reserve)
    row.name = wish.name.strip()[:120]
    row.day = wish.first
    row.by = row.by or by[:80]
    row.wish = wish.plain()
    row.plan = round_plain.to_plain(planned)
    row.made_at = now
    row.save()
    sites = dict(Site.objects.filter(reserve=reserve).values_list("slug", "pk"))
    for stop in row.stops.all():
        stop.delete()
    turn = 0
    for trip in planned.plan.trips:
        for visit in trip.visits:
            if visit.stop.key in sites:
                turn += 1
                RoundStop.objects.create(
                    round=row, site_id=sites[visit.stop.key], turn=turn, day=trip.day, party=trip.party.name[:120]
                )
    return row


def order_of(planned: Planned) -> list[tuple[date, str, list[str]]]:
    """The order of a plan: (day, party, slugs) for each trip."""
    return [(t.day, t.party.name, [v.stop.key for v in t.visits]) for t in planned.plan.trips]


def moved(planned: Planned, key: str, by: int) -> list[tuple[date, str, list[str]]]:
    """The order with one stop some places earlier (less than 0) or later; over the end of a trip into the next one."""
    order = order_of(planned)
    for n, (_, _, keys) in enumerate(order):
        if key in keys:
            at = keys.index(key)
            keys.remove(key)
            new = at + by
            if new < 0 and n > 0:
                order[n - 1][2].append(key)
            elif new > len(keys) and n + 1 < len(order):
                order[n + 1][2].insert(0, key)
            else:
                keys.insert(max(0, min(len(keys), new)), key)
            return order
    raise WrongInput("stop", got=key, needed="a stop of this round")


def as_json(planned: Planned) -> dict[str, Any]:
    """A plan for `--json`, every number whole."""
    return round_plain.to_plain(planned)
