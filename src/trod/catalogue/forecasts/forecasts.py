"""When each standing camera will probably stop, and when to go there: worked out once, kept, and shown.

Working it out takes some hundredths of a second a camera and reads all that came home; so it is done by the
worker, kept in `cache/forecasts-<reserve>.json`, and made anew when what it rests on changed or a new day began.
A page shows what is kept, says how old it is, and never waits.

Batteries and card are followed by the simulation; faults and theft, which come at random, are put on top of it.
"""

from __future__ import annotations

import contextlib
import json
import math
import threading
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from django.db.models import Avg, Count, F, FloatField
from django.db.models.functions import Cast
from django.utils import timezone
from numpy.typing import NDArray

from trod import clock, wording
from trod.archive import disk
from trod.catalogue import home, jobs
from trod.catalogue.answers.evidence import gather, unchanged
from trod.catalogue.forecasts import basis, heights, outfits, power_draw, ways
from trod.catalogue.forecasts.basis import Basis
from trod.catalogue.forecasts.outfits import Assumed
from trod.catalogue.models import Deployment, Incident, Job, Picture, Reserve, Visit
from trod.errors import TrodError
from trod.plain import plain, record
from trod.planning.equipment.card_room import FEWEST, FileSizes
from trod.planning.ground.weather import Climate
from trod.planning.last import endurance
from trod.planning.last.endurance import StopForecast
from trod.planning.visit import upkeep
from trod.planning.visit.upkeep import Access, GoWhy, NextVisit, Standing, VisitPrice
from trod.telling import endurance as telling_endurance

Floats = NDArray[np.float64]
JOB = "forecasts"
VERSION = 8
KEPT_DAYS = 730  # of a curve, in the file
FEW = 25  # so few cameras are forecast at once when nothing is kept yet
AGAIN_AFTER = timedelta(hours=1)  # before a failed making is tried again


@dataclass(frozen=True, kw_only=True)
class Forecast:
    """One standing camera: when it will probably stop, and when to go there.

    start : the day from which it is forecast. stopped : chance that it has stopped by day 0, 1, 2 … after `start`,
    for any cause; `by_supply` by batteries and card alone; `fresh` the same for a set put in on the day this was made.
    hung_days : days of pictures on its card at `start`. travel_min : its share of the way of a round. early, middle,
    late : the dates by which these have stopped 1, 5 and 9 futures of ten; None beyond the horizon. found : set when
    its last visit found it stopped.
    batteries, number : what feeds it. chance_now : that it has stopped by the day this was made for.
    go_by : when to go; None when there is no open day or nothing to say. go : why then.
    """

    deployment: str
    site: str
    site_name: str
    camera: str
    card: str
    batteries: str
    number: int
    start: date
    made_for: date
    stopped: tuple[float, ...] = field(repr=False)
    by_supply: tuple[float, ...] = field(repr=False)
    fresh: tuple[float, ...] = field(repr=False)
    hung_days: float
    travel_min: float
    early: date | None
    middle: date | None
    late: date | None
    causes: dict[str, float]
    sentence: str
    after_flash: str
    caveats: tuple[str, ...]
    assumed: tuple[outfits.Assumed, ...]
    faults_per_day: float | None
    found: str
    found_on: date | None
    go_by: date | None
    go: GoWhy
    used_wh: float
    used_mb: float
    per_day: float
    unknown_days: int

    def chance(self, day: date) -> float:
        """Chance that it has stopped by the end of a day."""
        if self.found_on is not None:
            return 1.0
        n = (day - self.start).days
        return 0.0 if n < 0 else self.stopped[min(n, len(self.stopped) - 1)]

    @property
    def chance_now(self) -> float:
        """Chance that it has stopped by now."""
        return self.chance(self.made_for)

    def lost_days(self, until: date, *, since: date | None = None) -> float:
        """Camera-days that will probably be lost until a date, counted from `since` (default: the day made for)."""
        since = since or self.made_for
        return sum(self.chance(since + timedelta(days=n)) for n in range(max(0, (until - since).days)))

    @property
    def cause(self) -> str:
        """The likeliest cause: batteries, card or fault; "" where hardly any future stops."""
        return max(self.causes, key=lambda c: self.causes[c]) if sum(self.causes.values()) >= 0.05 else ""


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What is kept. forecasts : by the deployment's slug. stale : what it rests on has changed since, or the day."""

    forecasts: Mapping[str, Forecast]
    made_at: datetime | None
    stale: bool


# What is kept -----------------------------------------------------------------------------------------------


_stamped: dict[int, tuple[tuple[Any, ...], str]] = {}  # by thread, as long as nobody wrote anything at all


def stamp(reserve: Reserve, *, today: date) -> str:
    """The same as long as nothing changed that a forecast rests on: the digest of the record that it is made from."""
    mark = unchanged()
    key = (mark, reserve.pk, today, heights.mark_of(reserve))
    if mark is not None and _stamped.get(threading.get_ident(), ((), ""))[0] == key:
        return _stamped[threading.get_ident()][1]
    found = _basis(reserve, today=today).stamp
    if mark is not None and mark == unchanged():
        if len(_stamped) > 64:
            _stamped.clear()
        _stamped[threading.get_ident()] = (key, found)
    return found


def _basis(reserve: Reserve, *, today: date) -> Basis:
    return basis.read(reserve, VERSION, today.isoformat(), heights.mark_of(reserve))


def _path(reserve: Reserve) -> Path:
    return home.home() / "cache" / f"forecasts-{reserve.slug}.json"


_read: dict[Path, tuple[tuple[int, int], tuple[Mapping[str, Forecast], datetime, str]]] = {}


def _file(path: Path) -> tuple[Mapping[str, Forecast], datetime, str] | None:
    """The kept file, read anew only when it changed; None when there is none that can be used."""
    try:
        told = path.stat()
        mark = (told.st_mtime_ns, told.st_size)
        held = _read.get(path)
        if held is None or held[0] != mark:
            data = json.loads(path.read_bytes())
            if data["version"] != VERSION:
                return None
            found = {row["deployment"]: from_plain(row) for row in data["forecasts"]}
            if len(_read) > 20:
                _read.clear()
            _read[path] = held = (mark, (found, datetime.fromisoformat(data["made_at"]), str(data["stamp"])))
        return held[1]
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def kept(reserve: Reserve, now: datetime) -> Kept:
    """What is kept of a reserve, and whether it is stale. Reads one small file and computes nothing."""
    held = _file(_path(reserve))
    if held is None:
        return Kept(forecasts={}, made_at=None, stale=True)
    found, made_at, old = held
    return Kept(forecasts=found, made_at=made_at, stale=old != stamp(reserve, today=_today(reserve, now)))


def age(made_at: datetime, now: datetime) -> str:
    """How long ago something was worked out, in words."""
    return wording.ago((now - made_at).total_seconds())


def shown(reserve: Reserve, now: datetime) -> Kept:
    """What a plan of a round rests on: what is kept; made at once where nothing is kept and the cameras are few.

    What is stale stays as it is: the worker looks for that by itself (`look_round`). A page does not wait for this: it
    shows what is `kept`.
    """
    held = kept(reserve, now)
    if held.made_at is None:
        standing = Deployment.objects.filter(site__reserve=reserve, end__isnull=True).count()
        if standing <= FEW:
            return make(reserve, now)
    return held


def look_round(now: datetime) -> None:
    """What the worker does when it has nothing else to do: ask for forecasts that are stale."""
    for reserve in Reserve.objects.order_by("id"):
        if kept(reserve, now).stale:
            ask(reserve)


def ask(reserve: Reserve) -> None:
    """Put the making in the worker's queue, unless it waits there already or has just failed."""
    mine = Job.objects.filter(kind=JOB, args=_args(reserve))
    if mine.filter(state__in=[Job.State.WAITING, Job.State.RUNNING, Job.State.PAUSED]).exists():
        return
    last = mine.order_by("-id").first()
    failed_at = last.finished_at if last is not None and last.state == Job.State.FAILED else None
    if failed_at is None or timezone.now() - failed_at > AGAIN_AFTER:
        jobs.ask(JOB, _args(reserve), by="Trod")


def _args(reserve: Reserve) -> dict[str, Any]:
    return {"reserve": reserve.slug}


def make(reserve: Reserve, now: datetime, *, report: jobs.Report | None = None) -> Kept:
    """Work all forecasts of a reserve out and keep them."""
    rests_on = _basis(reserve, today=_today(reserve, now))
    mark = rests_on.stamp
    found = {f.deployment: f for f in work_out(reserve, now, report=report, rests_on=rests_on)}
    data = {
        "version": VERSION,
        "stamp": mark,
        "made_at": now.astimezone(UTC).isoformat(),
        "forecasts": [to_plain(f) for f in found.values()],
    }
    path = _path(reserve)
    # Kept only to spare the work: a full disk must not keep anybody from seeing what was worked out.
    with contextlib.suppress(OSError, TrodError):
        path.parent.mkdir(parents=True, exist_ok=True)
        disk.write_file(path, json.dumps(data).encode())
    return Kept(forecasts=found, made_at=now.astimezone(UTC), stale=False)


_CURVES = ("stopped", "by_supply", "fresh")


def to_plain(row: Forecast) -> dict[str, Any]:
    """A forecast as plain data, chances in ten-thousandths."""
    return plain(row) | {name: [round(1e4 * p) for p in getattr(row, name)] for name in _CURVES}


def from_plain(row: Mapping[str, Any]) -> Forecast:
    """The forecast that `to_plain` was made of. Raises WrongInput, and KeyError or TypeError, for what is none."""
    curves = {name: [p / 1e4 for p in row[name]] for name in _CURVES}
    return record(Forecast, {**row, **curves}, what="forecast", needed="one that was kept here")


# Working out ------------------------------------------------------------------------------------------------


def _today(reserve: Reserve, now: datetime) -> date:
    return clock.local(now, reserve.zone).date()


def work_out(
    reserve: Reserve,
    now: datetime,
    *,
    only: Deployment | None = None,
    report: jobs.Report | None = None,
    rests_on: Basis | None = None,
) -> list[Forecast]:
    """Forecasts of all standing cameras of a reserve, or of one.

    rests_on : the record they are made from; read now when None.
    """
    rests_on = rests_on or _basis(reserve, today=_today(reserve, now))
    reserve = rests_on.reserve
    climate = outfits.climate_of(reserve)
    equipped = equipment(reserve, now, only=only, rests_on=rests_on)
    out = []
    for number, (deployment, gear) in enumerate(equipped):
        if report is not None:
            report.step(number, len(equipped), f"Forecasting {deployment.camera}")
        out.append(one(deployment, gear, climate=climate, today=_today(reserve, now), close=only is not None))
    return out


def equipment(
    reserve: Reserve, now: datetime, *, only: Deployment | None = None, rests_on: Basis | None = None
) -> list[tuple[Deployment, outfits.Equipped]]:
    """Standing cameras with all that their forecasts rest on. A fixed number of queries."""
    rests_on = rests_on or _basis(reserve, today=_today(reserve, now))
    reserve = rests_on.reserve
    zone, today = reserve.zone, _today(reserve, now)
    climate = outfits.climate_of(reserve)
    pieces = gather(reserve).pieces
    every = rests_on.deployments()
    hung = Counter(d.site_id for d in every if d.end is None)
    way = ways.shares(reserve, [d.site for d in every if d.end is None])
    if only is not None:
        every = [d for d in every if d.site_id == only.site_id or d.camera_id == only.camera_id]
    every.sort(key=lambda d: (d.site.slug, d.start, d.slug))
    standing = [d for d in every if d.end is None and (only is None or d.pk == only.pk)]
    visits: dict[int, list[Visit]] = {}
    for visit in rests_on.visits():
        if visit.at <= now:
            visits.setdefault(visit.deployment_id or 0, []).append(visit)
    camera_of = {d.pk: d.camera_id for d in every}
    suffered: dict[int, list[Incident]] = {}
    for incident in rests_on.rows(Incident):
        camera = incident.camera_id or camera_of.get(incident.deployment_id or 0)
        if camera is not None:
            suffered.setdefault(camera, []).append(incident)
    sizes = file_sizes(reserve)
    by_model: dict[int | None, FileSizes] = {}
    counts: dict[int, Sequence[Any]] = {}
    of_site: dict[int, list[Deployment]] = {}
    of_camera: dict[int, list[Deployment]] = {}
    for d in every:
        counts[d.pk] = outfits.day_counts(d.site, d, pieces.get(d.slug), zone=zone)
        of_site.setdefault(d.site_id, []).append(d)
        of_camera.setdefault(d.camera_id, []).append(d)
        if d.pk in sizes and d.camera.model_id is not None:
            by_model[d.camera.model_id] = sizes[d.pk]
    arrivals = {site: outfits.arrivals_of(of[0].site, [(d, counts[d.pk]) for d in of]) for site, of in of_site.items()}
    out = []
    for d in standing:
        mine = visits.get(d.pk, [])
        spec = outfits.spec_for(d)
        kind = outfits.pack_at(d, spec, mine, zone)[0].battery.designation
        life = [
            power_draw.Stood(
                deployment=o, visits=visits.get(o.pk, []), counts=counts[o.pk], incidents=suffered.get(o.camera_id, ())
            )
            for o in sorted(of_camera[d.camera_id], key=lambda o: o.start)
        ]
        scale, learnt = power_draw.learn(life, designation=kind, climate=climate, zone=zone)
        gear = outfits.equip(
            d,
            visits=mine,
            piece=pieces.get(d.slug),
            counts=counts[d.pk],
            arrivals=arrivals[d.site_id],
            sizes=sizes.get(d.pk) or by_model.get(d.camera.model_id),
            scale=scale,
            learnt=learnt,
            zone=zone,
            today=today,
        )
        share = way[d.site_id]
        mine_of_it = replace(share, minutes=share.minutes / hung[d.site_id], cameras=hung[d.site_id])
        gear = replace(gear, travel=mine_of_it)
        out.append((d, gear))
    return out


def file_sizes(reserve: Reserve) -> dict[int, FileSizes]:
    """How large the files of each deployment were, where enough came home; one query."""
    rows = (
        Picture.objects.filter(deployment__site__reserve=reserve, size_bytes__gt=0, foreign=False)
        .order_by()
        .values("deployment", "kind", "infrared")
        .annotate(
            n=Count("id"),
            mean=Avg("size_bytes"),
            square=Avg(Cast(F("size_bytes"), FloatField()) * Cast(F("size_bytes"), FloatField())),
            seconds=Avg("duration_s"),
        )
    )
    found: dict[int, dict[str, Any]] = {}
    for row in rows:
        here = found.setdefault(row["deployment"], {"said": []})
        mean_mb = float(row["mean"]) / 1e6
        if row["kind"] == Picture.Kind.CLIP:
            if row["seconds"]:
                here["clip_mb_s"] = mean_mb / row["seconds"]
                here["said"].append(wording.plural(row["n"], "clip"))
        elif row["n"] >= FEWEST and row["infrared"] is not None:
            kind = "night" if row["infrared"] else "day"
            cv = math.sqrt(max(0.0, row["square"] / 1e12 / mean_mb**2 - 1))
            here |= {f"{kind}_mb": mean_mb / math.sqrt(1 + cv * cv), f"{kind}_cv": cv}
            here["said"].append(wording.plural(row["n"], f"{kind} picture"))
    out = {}
    for number, values in found.items():
        said = values.pop("said")
        if said:
            out[number] = FileSizes(**values, source="from " + wording.listed(said), assumed=False)
    return out


def with_faults(by_cause: Mapping[str, Floats], hazard_per_day: float) -> dict[str, Floats]:
    """Chances by cause and day when faults and theft come at random on top; they add up to 1 − (1 − F)·e^(−ht).

    by_cause : chance that it has stopped by day 0, 1, 2 … by each cause, without faults.
    """
    days = len(next(iter(by_cause.values())))
    left = np.exp(-hazard_per_day * np.arange(days))
    within = (left[1:] + left[:-1]) / 2  # of a day's stops, about so many come before a fault does
    out = {
        cause: np.concatenate(([0.0], np.cumsum(np.diff(curve) * within))) + curve[0]
        for cause, curve in by_cause.items()
        if cause != "fault"
    }
    whole = 1 - (1 - np.sum([by_cause[cause] for cause in out], axis=0)) * left
    return {**out, "fault": np.maximum(0.0, whole - np.sum(list(out.values()), axis=0))}


@dataclass(frozen=True, kw_only=True)
class Price:
    """What a visit to one camera costs, and how often one is lost: what somebody typed; None where nobody did."""

    travel_min: float | None = None
    disturbance_days: float | None = None
    losses_per_year: float | None = None


UNTYPED = Price()


@dataclass(frozen=True, kw_only=True)
class Reckoned:
    """One camera worked out. stop : of batteries and card alone. by_cause : with faults and theft on top.

    visit : when to go; None when there is nothing to plan.
    """

    forecast: Forecast
    stop: StopForecast
    by_cause: Mapping[str, Floats]
    price: VisitPrice
    hazard_per_day: float | None
    visit: NextVisit | None


def one(
    deployment: Deployment, gear: outfits.Equipped, *, climate: Climate, today: date, close: bool = False
) -> Forecast:
    """One camera's forecast. close : with the second date, as for a page of its own."""
    return reckon(deployment, gear, climate=climate, today=today, close=close).forecast


def reckon(
    deployment: Deployment,
    gear: outfits.Equipped,
    *,
    climate: Climate,
    today: date,
    close: bool = False,
    price: Price = UNTYPED,
) -> Reckoned:
    """One camera's forecast with all that stands behind it. price : typed for this once."""
    site = deployment.site
    losses = site.losses_per_year if price.losses_per_year is None else price.losses_per_year
    hazard = None if losses is None else min(0.2, losses / 365.25)
    # One way of reckoning for every page, paper and command, so that a date told in two places is one date.
    task = endurance.Task(outfit=gear.outfit, arrivals=gear.arrivals, start=gear.start, used=gear.used)
    (stop,) = endurance.forecast_many([task], climate=climate)
    (after,) = endurance.forecast_many([task], climate=climate, second_date=True) if close else (stop,)
    by_cause = with_faults({str(cause): share for cause, share in stop.by_cause.items()}, hazard or 0.0)
    stopped = np.clip(np.sum(list(by_cause.values()), axis=0), 0.0, 1.0)
    minutes = gear.travel.minutes if price.travel_min is None else price.travel_min
    quiet = site.disturbance_days if price.disturbance_days is None else price.disturbance_days
    cost = VisitPrice(
        travel_min=minutes,
        work_min=ways.VISIT_MIN,
        disturbance_days=upkeep.DISTURBANCE_DAYS if quiet is None else quiet,
        camera_day_min=site.reserve.day_worth_min,
    )
    # Each further interval begins with fresh batteries, an empty card, and what waved before the sensor cut.
    calm = replace(gear.arrivals, run_ended=True)
    (fresh,) = endurance.forecast_many(
        [endurance.Task(outfit=gear.outfit, arrivals=calm, start=max(today, gear.start))], climate=climate
    )
    go_by, why = _go(site, gear, stop, fresh.stopped, cost, hazard, today)
    says = (
        *gear.assumed,
        Assumed("Coldest nights", "", climate.source, climate.assumed, coldest_c=min(climate.minimum_c)),
        Assumed(
            "Faults and theft",
            "not counted" if not hazard else f"{losses:g} a year",
            "not said yet"
            if losses is None
            else "typed in"
            if price.losses_per_year is not None
            else "as written down for the site",
        ),
        Assumed("Its share of the way", f"{minutes:.0f} min", way=gear.travel)
        if price.travel_min is None
        else Assumed("Its share of the way", f"{minutes:.0f} min", "typed in"),
        Assumed(
            "Cards lost with a camera", f"{wording.share(upkeep.CARD_LOST_SHARE)} of faults and thefts", guessed=True
        ),
        Assumed(
            "Quiet after a visit",
            f"{cost.disturbance_days:g} days",
            ""
            if quiet is None
            else "typed in"
            if price.disturbance_days is not None
            else "as written down for the site",
            quiet is None,
        ),
        Assumed("At the camera", f"{cost.work_min:g} min", guessed=True),
        Assumed(
            "Worth of a camera-day",
            f"{cost.camera_day_min:g} min of work",
            "" if site.reserve.camera_day_min is None else "as written down for the reserve",
            site.reserve.camera_day_min is None,
        ),
    )
    curves = (stopped, stop.stopped, fresh.stopped)
    rounded = [tuple(np.round(curve[: KEPT_DAYS + 1], 4).tolist()) for curve in curves]
    forecast = Forecast(
        deployment=deployment.slug,
        site=site.slug,
        site_name=site.name,
        camera=str(deployment.camera),
        card=gear.card,
        batteries=gear.outfit.pack.battery.designation,
        number=gear.outfit.pack.number,
        start=gear.start,
        made_for=today,
        stopped=rounded[0],
        by_supply=rounded[1],
        fresh=rounded[2],
        hung_days=_hung_days(gear),
        travel_min=minutes,
        early=stop.early,
        middle=stop.middle,
        late=stop.late,
        causes={cause: round(float(curve[-1]), 4) for cause, curve in by_cause.items()},
        sentence=_sentence(gear, stop, by_cause, hazard, today),
        after_flash=telling_endurance.after_flash(after) if gear.stopped_on is None else "",
        caveats=tuple(telling_endurance.caveat(c) for c in stop.caveats if not (c == "no faults" and hazard)),
        assumed=says,
        faults_per_day=hazard,
        found=gear.stopped_how,
        found_on=gear.stopped_on,
        go_by=go_by,
        go=why,
        used_wh=gear.used.energy_wh,
        used_mb=gear.used.card_mb,
        per_day=gear.arrivals.posterior.per_day,
        unknown_days=gear.unknown_days,
    )
    return Reckoned(forecast=forecast, stop=stop, by_cause=by_cause, price=cost, hazard_per_day=hazard, visit=why.visit)


def _sentence(
    gear: outfits.Equipped, stop: StopForecast, by_cause: Mapping[str, Floats], hazard: float | None, today: date
) -> str:
    """When and why it stops, faults and theft with it; or that it was found stopped."""
    if gear.stopped_on is not None:
        found = f"It was found on {wording.day(gear.stopped_on)}: {gear.stopped_how}."
        return f"{found} Nothing says that anybody set it going again."
    run = f" {telling_endurance.both_ways(stop)}" if stop.run is not None else ""
    if not hazard:
        return telling_endurance.outlook(stop) + run
    stopped = np.sum(list(by_cause.values()), axis=0)
    half = np.nonzero(stopped >= 0.5)[0]
    alone = telling_endurance.outlook(stop, inside=True)
    if by_cause["fault"][-1] > 0.5 * stopped[-1]:
        when = (
            f", in half of the futures by {wording.day(gear.start + timedelta(days=int(half[0])))}" if len(half) else ""
        )
        return f"Most likely a fault or theft ends it{when}. By batteries and card alone it {alone}{run}"
    until = stop.early or today + timedelta(days=365)
    by = min(max(0, (until - gear.start).days), len(stopped) - 1)
    chance = float(by_cause["fault"][by])
    said = f"By batteries and card it {alone}"
    if chance >= 0.005:
        said += f" A fault or theft comes first with a chance of {wording.in_100(chance)} by {wording.day(until)}."
    return said + run


def _hung_days(gear: outfits.Equipped) -> float:
    """Days of pictures that lie on its card when the forecast begins."""
    return float(max(0, (gear.start - gear.card_in).days))


def _go(
    site: Any,
    gear: outfits.Equipped,
    stop: StopForecast,
    fresh: Floats,
    price: VisitPrice,
    hazard: float | None,
    today: date,
) -> tuple[date | None, GoWhy]:
    """When to go, and why then."""
    if gear.stopped_on is not None:
        return today, GoWhy(found_on=gear.stopped_on)
    seen = (today - gear.start).days
    if seen >= stop.horizon:
        return today, GoWhy(unseen_days=seen)
    stand = Standing(
        name=site.name,
        visited_on=gear.start,
        stopped=stop.stopped,
        price=price,
        hazard_per_day=hazard,
        access=Access(closures=outfits.closures_of(site, today=today)),
        fresh=fresh,
        hung_days=_hung_days(gear),
        card_lost_share=upkeep.CARD_LOST_SHARE,
    )
    try:
        visit = upkeep.best_next_date(stand, today=max(today, gear.start))
    except TrodError as trouble:
        return today, GoWhy(trouble=str(trouble))
    return visit.plan_on, GoWhy(visit=visit)
