"""A round planned, kept, and put in another order: the catalogue's rows to `trod.planning.visit.rounds` and back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from trod import clock, wording
from trod.catalogue import jobs
from trod.catalogue.forecasts import outfits
from trod.catalogue.forecasts.ways import START, VISIT_MIN, WALK_IN_M, ways_for
from trod.catalogue.models import Job, Reserve, Round, RoundStop, Site
from trod.catalogue.rounds import round_plain
from trod.catalogue.rounds.due import Due, due
from trod.catalogue.rounds.round_plain import Planned
from trod.catalogue.rounds.wishes import Wish
from trod.catalogue.rounds.wishes import from_plain as wish_from
from trod.errors import WrongInput
from trod.planning.visit import byhand, spares
from trod.planning.visit import kit as kits
from trod.planning.visit import rounds as core
from trod.planning.visit.rounds import LeftOut, Party, RoundDay, RoundPlan, Span, Stop, Trip
from trod.planning.visit.travel import Place, Supposed, Ways
from trod.telling import rounds as telling
from trod.units import system_of

JOB = "round"
ANY_WAY_MIN = 1000.0  # a stop worth so much work is gone to wherever there is room
LEAST_CANDIDATES = 25
CANDIDATES_AN_HOUR = 2.5  # of a party's time; nobody does so many visits and ways in an hour. Ours.


def stop_of(d: Due, wish: Wish) -> Stop:
    """A due site as a stop for the planner."""
    why = wording.capital("; ".join(d.why[:3]))
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
        climb_m=d.site.climb_m,
        sensitive=d.site.sensitive,
        why=why,
        work=d.work,
        access=d.site.access,
        caution=d.site.safety,
    )


def bare_stop(site: Site, wish: Wish, *, days: Sequence[date], today: date) -> Stop:
    """A site without a camera that somebody wants to go to."""
    closed = {day: c.why for c in outfits.closures_of(site, today=today) for day in days if c.holds(day)}
    return Stop(
        key=site.slug,
        name=site.name,
        latitude_deg=site.latitude,
        longitude_deg=site.longitude,
        there_min=VISIT_MIN,
        must=True,
        closed=closed,
        walk_in_m=WALK_IN_M if wish.by_car else 0.0,
        climb_m=site.climb_m,
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
    supposed: Supposed
    worth_min: float


Step = Callable[[int, int, str], None]


def prepare(reserve: Reserve, wish: Wish, now: datetime) -> Ground:
    """Stops, days, parties and ways for a wish. Raises WrongInput when something is missing, such as the start."""
    at = wish.start(reserve)
    if at is None:
        raise WrongInput(
            "start", got="no place where rounds start", needed="one; set it under Rounds, or give latitude and longitude"
        )
    start = Place(key=START, latitude_deg=at[0], longitude_deg=at[1])
    today = clock.local(now, reserve.zone).date()
    if wish.first < today:
        raise WrongInput("day", got=wish.first.isoformat(), needed=f"today ({today}) or a later day")
    if (wish.first - today).days > 366:
        raise WrongInput("day", got=wish.first.isoformat(), needed="a day within a year")
    found = due(reserve, now, days=wish.dates, next_days=wish.next_days, wait=True)
    by_slug = {d.site.slug: d for d in found}
    named = set(wish.must) if wish.which == "named" else set(by_slug)
    stops = [stop_of(d, wish) for d in found if d.site.slug not in wish.leave and d.site.slug in named | set(wish.must)]
    left = [
        LeftOut(stop=stop_of(d, wish), why="you left it out", saves_days=max(d.saves))
        for d in found
        if d.site.slug in wish.leave
    ]
    left += [
        LeftOut(stop=stop_of(d, wish), why="you named others", saves_days=max(d.saves))
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
    ways, supposed = ways_for(reserve, [start, *(s.place for s in stops)], by_car=wish.by_car, by_tracks=wish.by_tracks)
    return Ground(
        start=start, days=tuple(days), parties=parties, stops=tuple(stops), left=tuple(left), ways=ways, due=by_slug,
        supposed=supposed, worth_min=reserve.day_worth_min if wish.worth_min is None else wish.worth_min,
    )  # fmt: skip


def plan(reserve: Reserve, wish: Wish, now: datetime, *, step: Step | None = None) -> Planned:
    """Plan a round. Raises WrongInput when it cannot be planned."""
    tell = step or (lambda done, total, words: None)
    tell(0, 3, "Working out the ways")
    ground = prepare(reserve, wish, now)
    tell(1, 3, f"Choosing and ordering {wording.plural(len(ground.stops), 'stop')}")
    ground = _fewer(ground, wish)
    try:
        made = _planned(ground, wish)
    except core.CannotBeVisited as trouble:
        raise telling.refused(trouble, system_of(reserve.units)) from trouble
    tell(2, 3, "Writing the lists")
    left = tuple(sorted((*made.left_out, *ground.left), key=lambda x: (-x.saves_days, x.stop.key)))
    return _with_lists(replace(made, left_out=left), ground, wish)


def _fewer(ground: Ground, wish: Wish) -> Ground:
    """The ground without stops that will not be chosen, so that the search takes seconds.

    Those that save nothing where only what pays is wanted, and of very many those that save least.
    """

    def most(stop: Stop) -> float:
        return max(stop.saves_on(n) for n in range(len(ground.days)))

    must = [s for s in ground.stops if s.must or wish.which == "named"]
    rest = sorted((s for s in ground.stops if s not in must), key=lambda s: (-most(s), s.key))
    left: list[LeftOut] = []
    if wish.which == "pays":
        nothing = [s for s in rest if most(s) <= 0]
        rest = [s for s in rest if most(s) > 0]
        left += [LeftOut(stop=s, why="saves nothing", saves_days=0.0) for s in nothing]
    hours = sum((day.out.to_min - day.out.from_min) / 60 for day in ground.days) * len(ground.parties)
    room = max(LEAST_CANDIDATES, int(CANDIDATES_AN_HOUR * hours))
    left += [LeftOut(stop=s, why="no room beside better", saves_days=most(s)) for s in rest[room:]]
    return replace(ground, stops=tuple(must + rest[:room]), left=(*ground.left, *left))


def _planned(ground: Ground, wish: Wish) -> RoundPlan:
    """The planner's answer.

    With "all", each stop is given a worth that pays any way, so that as many are visited as there is room for; what is
    told of them is what they really save.
    """
    how: dict[str, Any] = {
        "start": ground.start, "days": ground.days, "parties": ground.parties, "ways": ground.ways
    }  # fmt: skip
    if wish.which != "all":
        return core.plan_round(ground.stops, worth_min=ground.worth_min, **how)
    true = {s.key: s for s in ground.stops}
    dates = [d.day for d in ground.days]
    worth_min = max(ground.worth_min, 1.0)
    much = ANY_WAY_MIN / worth_min

    def worth_it(s: Stop) -> Stop:
        return replace(s, saves_days=tuple(s.saves_on(n) + much for n in range(len(dates))))

    made = core.plan_round([worth_it(s) for s in ground.stops], worth_min=worth_min, **how)
    trips = tuple(
        replace(
            t,
            visits=tuple(
                replace(v, stop=true[v.stop.key], saves_days=true[v.stop.key].saves_on(dates.index(t.day)))
                for v in t.visits
            ),
        )
        for t in made.trips
    )
    left = tuple(
        replace(
            x,
            stop=true[x.stop.key],
            why=x.why if x.more_min is None else "no room",
            more_min=None,
            saves_days=max(true[x.stop.key].saves_on(n) for n in range(len(dates))),
        )
        for x in made.left_out
    )
    return replace(made, trips=trips, left_out=left, worth_min=ground.worth_min, scope="as many as fit")


def in_order(reserve: Reserve, wish: Wish, order: Sequence[tuple[date, str, Sequence[str]]], now: datetime) -> Planned:
    """A round in an order that a person chose: (day, party, slugs of its sites in turn) for each trip."""
    ground = prepare(reserve, wish, now)
    stops = {s.key: s for s in ground.stops}
    trips: list[Trip] = []
    doubts: list[byhand.Doubt] = []
    gone: set[str] = set()
    for day, party_name, slugs in order:
        number = next((n for n, d in enumerate(ground.days) if d.day == day), None)
        party = next((p for p in ground.parties if p.name == party_name), None)
        if number is None or party is None:
            raise WrongInput("order", got=f"{day}, {party_name}", needed="a day and a party of this round")
        unknown = [s for n, s in enumerate(slugs) if s not in stops or s in gone or s in slugs[:n]]
        if unknown:
            raise WrongInput("order", got=", ".join(unknown), needed="each stop of this round once")
        gone.update(slugs)
        if slugs:
            try:
                trip, said = byhand.in_this_order(
                    [stops[s] for s in slugs], number=number, day=ground.days[number], party=party, start=ground.start,
                    ways=ground.ways,
                )  # fmt: skip
            except core.CannotBeVisited as trouble:
                raise telling.refused(trouble, system_of(reserve.units)) from trouble
            trips.append(trip)
            doubts += said
    rest = [
        LeftOut(
            stop=s,
            why="no access" if s.key in ground.ways.missing else "not in your order",
            no_way=ground.ways.missing.get(s.key),
            saves_days=max(s.saves_on(n) for n in range(len(ground.days))),
        )
        for s in ground.stops
        if s.key not in gone
    ]  # fmt: skip
    left = tuple(sorted((*rest, *ground.left), key=lambda x: (-x.saves_days, x.stop.key)))
    made = RoundPlan(
        trips=tuple(trips),
        left_out=left,
        start=ground.start,
        searcher="own",
        seed=0,
        ways=ground.ways.how,
        worth_min=ground.worth_min,
        scope="in your order",
    )
    return replace(_with_lists(made, ground, wish), doubts=tuple(doubts), by_hand=True)


def _with_lists(made: RoundPlan, ground: Ground, wish: Wish) -> Planned:
    """The plan with its kit lists, cautions and light."""
    lists, light, dark = [], [], False
    by_day = {d.day: d for d in ground.days}
    for trip in made.trips:
        here = [ground.due[v.stop.key] for v in trip.visits if v.stop.key in ground.due]
        span = by_day[trip.day].light
        dark = dark or out_in_the_dark(trip, span)
        lists.append(_kit(here, going_of(trip, span)))
        if span is not None:
            light.append(span)
    going = kits.Going(
        alone=any(t.party.people == 1 for t in made.trips),
        by_car=any(t.drive_m > 0 for t in made.trips),
        dark=dark,
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
        supposed=ground.supposed,
    )


def out_in_the_dark(trip: Trip, light: Span | None) -> bool:
    """Whether part of the way falls outside the light."""
    if light is None:
        return False
    leave = trip.leave.hour * 60 + trip.leave.minute
    home = leave + (trip.home - trip.leave).total_seconds() / 60
    return leave < light.from_min - 1 or home > light.to_min + 1


def going_of(trip: Trip, light: Span | None) -> kits.Going:
    """How this trip goes, for its kit."""
    return kits.Going(alone=trip.party.people == 1, by_car=trip.drive_m > 0, dark=out_in_the_dark(trip, light))


def _kit(here: Sequence[Due], going: kits.Going) -> tuple[kits.KitItem, ...]:
    found = spares.kit([s for d in here for s in d.spare_stops])
    extra: dict[str, int] = {}
    for line in found.lines:
        if line.spare and line.what not in ("card", "camera"):
            try:
                kits.designation(line.what)
            except WrongInput:
                continue
        if line.spare:
            extra[line.what] = line.spare
    return kits.kit_list([d.wants for d in here], spares=extra, going=going)


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


def unsaved(reserve: Reserve, wish: Wish, planned: Planned, now: datetime) -> Round:
    """The round as a row that is not kept, for papers alone."""
    return Round(
        reserve=reserve, name=wish.name, day=wish.first, wish=wish.plain(), plan=round_plain.to_plain(planned),
        made_at=now,
    )  # fmt: skip


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


def do_job(args: dict[str, Any], report: jobs.Report) -> dict[str, Any]:
    """The worker's part. args: wish, round (uuid of the one to put it in place of, or "")."""
    now = timezone.now()
    row = Round.objects.select_related("reserve").filter(uuid=args["round"]).first() if args.get("round") else None
    reserve = row.reserve if row else Reserve.objects.order_by("id").first()
    if reserve is None:
        raise WrongInput("reserve", got="none", needed="a reserve; write it down first")

    def step(done: int, total: int, words: str) -> None:
        report.step(done, total, words, force=True)

    wish = wish_from(args["wish"])
    made = plan(reserve, wish, now, step=step)
    by = Job.objects.values_list("by", flat=True).get(pk=report.job_id)
    with report.saving(3, 3, "Kept"):
        kept = keep(reserve, wish, made, by=by, now=now, row=row)
    return {"round": str(kept.uuid)}
