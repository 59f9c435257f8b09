"""Who is due for a visit, why, and what it would save.

What a visit saves is counted in camera-days, from the day of the visit until somebody comes by again:

    the chance of standing dead, summed over those days, less what faults would import any case
    + the days of pictures that hang out there, times the chance that the card is lost until then
    + a tenth of the days if its clock is known to be wrong (ours: times are mended later, but not always)
    − the days that the site stays quiet after somebody was there
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np

from trod import clock
from trod.catalogue.forecasts import forecasts, outfits
from trod.catalogue.forecasts.forecasts import Forecast
from trod.catalogue.forecasts.ways import VISIT_MIN
from trod.catalogue.models import Deployment, Reserve, Site, Visit
from trod.errors import TrodError, WrongInput
from trod.planning.visit import kit as kits
from trod.planning.visit import spares
from trod.planning.visit.upkeep import (
    CARD_LOST_SHARE,
    DISTURBANCE_DAYS,
    Access,
    Standing,
    VisitPrice,
    best_day_for_round,
)
from trod.telling import due as due_told
from trod.telling import upkeep as telling

CLOCK_S = 120.0  # a clock that is out by more is wrong; the same as on Today
CLOCK_SHARE = 0.1
WALK_TEST_MIN = 10.0  # assumed
LADDER_MIN = 10.0  # assumed
LADDER_M = 2.2  # above this a camera is out of reach; common practice
# A battery of the AA size, by what it is made of; from memory. [kg]
BATTERY_KG = {"LR6": 0.023, "FR6": 0.015, "HR6": 0.027}
LOCK_KG = 0.7  # a lock with its cable; assumed
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


def due(
    reserve: Reserve,
    now: datetime,
    *,
    days: Sequence[date],
    next_days: int,
    wait: bool = False,
    held: forecasts.Kept | None = None,
) -> list[Due]:
    """Every site with a standing camera, the one first where a visit saves most. A fixed number of queries.

    wait : work the forecasts of a few cameras out where none is kept yet; else they are left out. held : what is kept,
    where the caller has looked already.
    """
    told = (held or (forecasts.shown(reserve, now) if wait else forecasts.kept(reserve, now))).forecasts
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
    today = clock.local(now, reserve.zone).date()
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
    quiet = DISTURBANCE_DAYS if site.disturbance_days is None else site.disturbance_days
    closed = {
        day: closure.why for closure in outfits.closures_of(site, today=today) for day in days if closure.holds(day)
    }
    why: list[tuple[float, str]] = []
    work: list[str] = []
    saves = np.zeros(len(days))
    batteries: dict[str, int] = {}
    spare_stops: list[spares.Stop] = []
    go_by: list[date] = []
    load = 0.0
    walk_test = ladder = False
    locks = 0
    for d in group:
        name = str(d.camera)
        f = told.get(d.slug)
        been = visits.get(d.pk, [])
        card_day = _local(max([d.start, *(v.at for v in been if v.card_in_id)]), zone)
        clock_s = _clock_error(d, been)
        high = (d.height_m or 0.0) > LADDER_M
        ladder = ladder or high
        if been and been[-1].lock_left in (Visit.LockLeft.MISSING, Visit.LockLeft.STUCK):
            locks += 1
            load += LOCK_KG
            work.append(due_told.lock_wanted(name, str(been[-1].get_lock_left_display())))
        no_test = d.pk not in tested and not any(v.walk_test for v in been)
        walk_test = walk_test or no_test
        if f is not None:
            each = np.array([_saved(f, day, next_days, hung_days=(day - card_day).days) for day in days])
            saves += each
            why += _reasons(f, days[0], today, next_days)
            if f.go_by is not None:
                go_by.append(f.go_by)
            renew = _batteries_fail(f, days[0] + timedelta(days=next_days))
            stop_kit = spares.Stop(
                name=name, battery=f.batteries, batteries=f.number, stops_before_next=min(1.0, renew),
                days_until_next=float(next_days),
            )  # fmt: skip
            spare_stops.append(stop_kit)
            if f.found_on is not None:
                work.append(due_told.find_out(name, f.found))
            if renew > spares.RENEW_ABOVE:
                batteries[f.batteries] = batteries.get(f.batteries, 0) + f.number
                load += f.number * BATTERY_KG.get(f.batteries, 0.025)
                work.append(due_told.fresh_batteries(name, f.number, f.batteries))
        else:
            why.append((0.0, due_told.no_forecast(name)))
        work.append(due_told.change_card(name, str(d.card) if d.card else ""))
        if clock_s is not None:
            saves += CLOCK_SHARE * next_days
            why.append((CLOCK_SHARE * next_days, due_told.clock_wrong(name, clock_s)))
            work.append(due_told.set_clock(name))
        if no_test:
            work.append(due_told.walk_test(name))
        last = _local(max([d.start, *(v.at for v in been)]), zone)
        if (today - last).days >= SPACE_DAYS:
            why.append((-1.0, due_told.nobody_there((today - last).days)))
    work.append(due_told.ALWAYS)
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
            site=site.name,
            batteries=_battery_kinds(batteries),
            cards=len(group),
            ladder=ladder,
            walk_test=walk_test,
            locks=locks,
        ),
        spare_stops=tuple(spare_stops),
        load_kg=round(load, 2),
        closed=closed,
    )


def _battery_kinds(batteries: Mapping[str, int]) -> dict[str, int]:
    """Only batteries that have a designation go on the list by kind."""
    out = {}
    for kind, number in batteries.items():
        try:
            kits.designation(kind)
        except WrongInput:
            continue
        out[kind] = number
    return out


def _local(at: datetime, zone: str) -> date:
    return clock.local(at, zone).date()


def _saved(f: Forecast, day: date, next_days: int, *, hung_days: int) -> float:
    """Camera-days that a visit on this day saves until `next_days` after it; see the head of this module."""
    h = f.faults_per_day or 0.0
    dead = f.lost_days(day + timedelta(days=next_days), since=day)
    after = float(np.sum(-np.expm1(-h * np.arange(next_days))))
    lost_there = -math.expm1(-CARD_LOST_SHARE * h * next_days) * max(0, hung_days) * (1 - f.chance(day))
    return max(0.0, dead - after) + lost_there


def _batteries_fail(f: Forecast, by: date) -> float:
    """The chance that batteries fail by a day, if they stay in: supply by the share of batteries among its causes."""
    if f.found_on is not None:
        return 1.0
    n = (by - f.start).days
    supply = f.by_supply[min(n, len(f.by_supply) - 1)] if n >= 0 else 0.0
    of_batteries, of_card = f.causes.get("batteries", 0.0), f.causes.get("card", 0.0)
    return supply * (of_batteries / (of_batteries + of_card) if of_batteries + of_card > 0 else 1.0)


def _reasons(f: Forecast, day: date, today: date, next_days: int) -> list[tuple[float, str]]:
    if f.found_on is not None:
        return [(1e6, due_told.found_stopped(f.camera, f.found_on, f.found))]
    later = day + timedelta(days=next_days)
    now, then = f.chance(day), f.chance(later)
    if now >= 0.05:
        return [(100 * now, due_told.has_stopped(f.camera, day, now, f.cause))]
    if then >= 0.05:
        return [(10 * then, due_told.will_stop(f.camera, later, then, f.cause))]
    return [(0.0, due_told.goes_on(f.camera))]


def _clock_error(d: Deployment, visits: Sequence[Visit]) -> float | None:
    """How far the camera's clock was out when it was read last; None when right, not read, or set since."""
    for v in reversed(visits):
        error = clock.error_s(v.clock_shown, v.clock_true, d.utc_offset_min)
        if error is not None:
            said = f"{v.work} {v.note}".lower()
            return error if abs(error) > CLOCK_S and "clock set" not in said and "set the clock" not in said else None
    return None


def best_day(reserve: Reserve, found: Sequence[Due], now: datetime) -> tuple[date | None, str]:
    """The best day for the next round to all cameras, and why, by the rule of upkeep.

    Cameras found stopped want somebody today.
    """
    today = clock.local(now, reserve.zone).date()
    dead = [d.site.name for d in found if d.stopped]
    if dead:
        return today, telling.found_stopped(dead)
    standings = []
    for d in found:
        for f in d.forecasts:
            # Beyond the forecast's last day a camera is as good as surely dead: it counts as it stands at the end.
            gone = min((today - f.start).days, len(f.by_supply) - 3)
            if gone >= 0:
                standings.append(
                    Standing(
                        name=f"{d.site.name} ({f.camera})" if len(d.forecasts) > 1 else d.site.name,
                        visited_on=today - timedelta(days=gone),
                        stopped=np.asarray(f.by_supply),
                        price=VisitPrice(
                            travel_min=0.0,
                            work_min=d.there_min,
                            camera_day_min=reserve.day_worth_min,
                            disturbance_days=DISTURBANCE_DAYS
                            if d.site.disturbance_days is None
                            else d.site.disturbance_days,
                        ),
                        hazard_per_day=f.faults_per_day,
                        fresh=np.asarray(f.fresh),
                        hung_days=f.hung_days + max(0, (today - f.start).days - gone),
                        card_lost_share=CARD_LOST_SHARE,
                        access=Access(closures=outfits.closures_of(d.site, today=today)),
                    )
                )
    if not standings:
        return None, ""
    # Of one day's round, cameras at one site together: so much way as all their shares.
    minutes = sum(f.travel_min for d in found for f in d.forecasts)
    way = VisitPrice(travel_min=minutes, camera_day_min=reserve.day_worth_min)
    try:
        best = best_day_for_round(standings, today=today, travel_days=way.travel_days)
    except TrodError:
        return None, ""
    wanting = [(d.go_by, d.site.name) for d in found if d.go_by is not None]
    first, who = min(wanting, default=(date.max, ""))
    if first <= today + timedelta(days=120) and (best.day is None or first < best.day):
        return first, telling.round_to_all(best, by=(first, who))
    return best.day, telling.round_to_all(best)
