"""When each standing camera will probably stop, and when to go there: worked out once, kept, and shown.

Working it out takes some hundredths of a second a camera and reads all that came home; so it is done by the
worker, kept in `cache/forecasts.json`, and made anew when what it rests on changed or a new day began. A page
shows what is kept, says how old it is, and never waits.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
from django.db.models import Avg, Count, F, FloatField
from django.db.models.functions import Cast
from numpy.typing import NDArray

from trod import watch
from trod.archive import disk
from trod.errors import TrodError
from trod.planning import endurance, upkeep
from trod.planning.card_room import FEWEST, FileSizes
from trod.planning.upkeep import Access, Standing, VisitPrice
from trod.web import home, jobs
from trod.web.catalogue import outfits
from trod.web.catalogue.evidence import gather
from trod.web.models import Card, Deployment, Intake, Job, Picture, Reserve, Visit

Floats = NDArray[np.float64]
JOB = "forecasts"
VERSION = 1
KEPT_DAYS = 730  # of a curve, in the file
FEW = 25  # so few cameras are forecast at once when nothing is kept yet
TRAVEL_MIN = 60.0  # there and back, until somebody plans a round from a known start; assumed


@dataclass(frozen=True, kw_only=True)
class Forecast:
    """One standing camera: when it will probably stop, and when to go there.

    start : the day from which it is forecast. stopped : chance that it has stopped by day 0, 1, 2 … after `start`,
    for any cause; `by_supply` the same without faults and theft. early, middle, late : the dates by which 1, 5
    and 9 futures of ten have stopped; None beyond the horizon. found : set when its last visit found it stopped.
    cells, number : what feeds it. chance_now : that it has stopped by the day this was made for.
    go_by : when to go; None when there is no open day or nothing to say. go_why : why then.
    """

    deployment: str
    site: str
    site_name: str
    camera: str
    card: str
    cells: str
    number: int
    start: date
    made_for: date
    stopped: tuple[float, ...] = field(repr=False)
    by_supply: tuple[float, ...] = field(repr=False)
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
    go_why: str
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
        """The likeliest cause: cells, card or fault; "" where hardly any future stops."""
        return max(self.causes, key=lambda c: self.causes[c]) if sum(self.causes.values()) >= 0.05 else ""


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What is kept. forecasts : by the deployment's slug. stale : what it rests on has changed since, or the day."""

    forecasts: Mapping[str, Forecast]
    made_at: datetime | None
    stale: bool


# What is kept -----------------------------------------------------------------------------------------------


def stamp(reserve: Reserve, *, today: date) -> str:
    """The same as long as nothing changed that a forecast rests on. A fixed number of quick queries.

    Times and counts of what came home stand for the pictures themselves.
    """
    standing = Deployment.objects.filter(site__reserve=reserve, end__isnull=True)
    parts: list[Any] = [VERSION, today.isoformat(), reserve.zone, reserve.climate]
    parts += standing.order_by("slug").values_list(
        "slug", "start", "cells", "mode", "burst", "delay_s", "time_lapse_h", "card__size_gb", "camera__serial",
        "site__slug", "site__feature", "site__latitude", "site__longitude", "site__closed", "site__losses_per_year",
        "site__quiet_days",
    )  # fmt: skip
    parts += standing.order_by("slug").values_list(
        "camera__model__idle_mw", "camera__model__wake_j", "camera__model__day_frame_j",
        "camera__model__night_frame_j", "camera__model__measured", "camera__model__cell_kind",
        "camera__model__cell_count", "camera__model__cells", "camera__model__flash",
    )  # fmt: skip
    parts += (
        Visit.objects.filter(deployment__in=standing.values("pk"))
        .order_by("at", "uuid")
        .values_list("uuid", "at", "arrival", "cells_changed", "cells_kind", "cells_count", "card_in", "card_out")
    )
    parts += Card.objects.filter(deployments__in=standing.values("pk")).values_list("label", "size_gb")
    parts.append(
        sorted(
            Intake.objects.filter(deployment__site__reserve=reserve, state=Intake.State.WHOLE)
            .order_by()
            .values_list("name", "new")
        )
    )
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:24]


def _path(reserve: Reserve) -> Any:
    return home.home() / "cache" / f"forecasts-{reserve.slug}.json"


def kept(reserve: Reserve, now: datetime) -> Kept:
    """What is kept of a reserve, and whether it is stale. Reads one small file and computes nothing."""
    today = watch.local(now, reserve.zone).date()
    try:
        data = json.loads(_path(reserve).read_bytes())
        if data.get("version") != VERSION:
            raise ValueError
        found = {row["deployment"]: _from_plain(row) for row in data["forecasts"]}
        made_at = datetime.fromisoformat(data["made_at"])
        old = data["stamp"]
    except (OSError, ValueError, KeyError, TypeError):
        return Kept(forecasts={}, made_at=None, stale=True)
    return Kept(forecasts=found, made_at=made_at, stale=old != stamp(reserve, today=today))


def shown(reserve: Reserve, now: datetime) -> Kept:
    """What a page shows: what is kept; made at once where nothing is kept and the cameras are few.

    When stale, the worker is asked to make it anew; the page does not wait for it.
    """
    held = kept(reserve, now)
    if held.made_at is None:
        standing = Deployment.objects.filter(site__reserve=reserve, end__isnull=True).count()
        if standing <= FEW:
            return make(reserve, now)
    if held.stale:
        ask(reserve)
    return held


def ask(reserve: Reserve) -> None:
    """Put the making in the worker's queue, unless it waits there already."""
    waiting = Job.objects.filter(kind=JOB, state__in=[Job.State.WAITING, Job.State.RUNNING], args=_args(reserve))
    if not waiting.exists():
        jobs.ask(JOB, _args(reserve))


def _args(reserve: Reserve) -> dict[str, Any]:
    return {"reserve": reserve.slug}


def make(reserve: Reserve, now: datetime, *, report: jobs.Report | None = None) -> Kept:
    """Work all forecasts of a reserve out and keep them."""
    today = watch.local(now, reserve.zone).date()
    mark = stamp(reserve, today=today)
    found = {f.deployment: f for f in work_out(reserve, now, report=report)}
    path = _path(reserve)
    path.parent.mkdir(parents=True, exist_ok=True)
    data = {
        "version": VERSION,
        "stamp": mark,
        "made_at": now.astimezone(UTC).isoformat(),
        "forecasts": [_plain(f) for f in found.values()],
    }
    disk.write_file(path, json.dumps(data).encode())
    return Kept(forecasts=found, made_at=now, stale=False)


def _plain(row: Forecast) -> dict[str, Any]:
    out = asdict(row)
    for name in ("stopped", "by_supply"):
        out[name] = [round(p, 4) for p in out[name]]
    return {k: v.isoformat() if isinstance(v, date) else v for k, v in out.items()}


def _from_plain(row: dict[str, Any]) -> Forecast:
    values = dict(row)
    for name in ("start", "made_for", "early", "middle", "late", "found_on", "go_by"):
        values[name] = date.fromisoformat(values[name]) if values[name] else None
    for name in ("stopped", "by_supply", "caveats"):
        values[name] = tuple(values[name])
    values["assumed"] = tuple(outfits.Assumed(**a) for a in values["assumed"])
    return Forecast(**values)


# Working out ------------------------------------------------------------------------------------------------


def work_out(
    reserve: Reserve, now: datetime, *, only: Deployment | None = None, report: jobs.Report | None = None
) -> list[Forecast]:
    """Forecasts of all standing cameras of a reserve, or of one."""
    today = watch.local(now, reserve.zone).date()
    climate = outfits.climate_of(reserve)
    equipped = equipment(reserve, now, only=only)
    out = []
    for number, (deployment, gear) in enumerate(equipped):
        if report is not None:
            report.step(number, len(equipped), f"Forecasting {deployment.camera}")
        out.append(one(deployment, gear, climate=climate, today=today, close=only is not None))
    return out


def equipment(
    reserve: Reserve, now: datetime, *, only: Deployment | None = None
) -> list[tuple[Deployment, outfits.Equipped]]:
    """Standing cameras with all that their forecasts rest on. A fixed number of queries."""
    zone, today = reserve.zone, watch.local(now, reserve.zone).date()
    account = gather(reserve)
    all_here = list(
        Deployment.objects.filter(site__reserve=reserve)
        .select_related("camera__model", "site", "card")
        .order_by("site__slug", "start")
    )
    by_site: dict[int, list[Any]] = {}
    for d in all_here:
        if d.slug in account.pieces:
            by_site.setdefault(d.site_id, []).append((d, account.pieces[d.slug]))
    standing = [d for d in all_here if d.end is None and (only is None or d.pk == only.pk)]
    visits: dict[int, list[Visit]] = {}
    for visit in Visit.objects.filter(deployment__in=[d.pk for d in standing], at__lte=now).order_by("at"):
        visits.setdefault(visit.deployment_id or 0, []).append(visit)
    sizes = file_sizes([d.pk for d in all_here])
    by_model: dict[int | None, FileSizes] = {}
    for d in all_here:
        if d.pk in sizes:
            by_model[d.camera.model_id] = sizes[d.pk]
    counts: dict[int, Any] = {}
    out = []
    for d in standing:
        if d.site_id not in counts:
            counts[d.site_id] = outfits.day_counts(d.site, by_site.get(d.site_id, []), zone=zone)
        gear = outfits.equip(
            d,
            visits=visits.get(d.pk, []),
            piece=account.pieces.get(d.slug),
            counts=counts[d.site_id],
            sizes=sizes.get(d.pk) or by_model.get(d.camera.model_id),
            zone=zone,
            today=today,
        )
        out.append((d, gear))
    return out


def file_sizes(deployments: Sequence[int]) -> dict[int, FileSizes]:
    """How large the files of each deployment were, where enough came home; one query."""
    rows = (
        Picture.objects.filter(deployment__in=deployments, size_bytes__gt=0, foreign=False)
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
        mean_mb = row["mean"] / 1e6
        if row["kind"] == Picture.Kind.CLIP:
            if row["seconds"]:
                here["clip_mb_s"] = mean_mb / row["seconds"]
                here["said"].append(f"{row['n']} clips")
        elif row["n"] >= FEWEST and row["infrared"] is not None:
            kind = "night" if row["infrared"] else "day"
            cv = math.sqrt(max(0.0, row["square"] / row["mean"] ** 2 - 1))
            here |= {f"{kind}_mb": mean_mb / math.sqrt(1 + cv * cv), f"{kind}_cv": cv}
            here["said"].append(f"{row['n']} {kind} pictures")
    out = {}
    for number, values in found.items():
        said = values.pop("said")
        if said:
            out[number] = FileSizes(**values, source="from " + " and ".join(said))
    return out


def one(
    deployment: Deployment, gear: outfits.Equipped, *, climate: Any, today: date, close: bool = False
) -> Forecast:
    """One camera's forecast. close : with more futures and the second date, as for a page of its own."""
    site = deployment.site
    hazard = None if site.losses_per_year is None else min(0.2, site.losses_per_year / 365.25)
    task = endurance.Task(
        outfit=gear.outfit, arrivals=gear.arrivals, start=gear.start, used=gear.used, faults_per_day=hazard or 0.0
    )
    supply_task = endurance.Task(outfit=gear.outfit, arrivals=gear.arrivals, start=gear.start, used=gear.used)
    if close:
        told, supply = (
            endurance.forecast(
                t.outfit, t.arrivals, t.start, climate=climate, used=t.used, faults_per_day=t.faults_per_day
            )
            for t in (task, supply_task)
        )
    else:
        told, supply = (endurance.forecast_many([t], climate=climate)[0] for t in (task, supply_task))
    go_by, why = None, ""
    if gear.stopped_on is None:
        price = VisitPrice(
            travel_min=TRAVEL_MIN,
            disturbance_days=upkeep.DISTURBANCE_DAYS if site.quiet_days is None else site.quiet_days,
        )
        stand = Standing(
            name=site.name,
            visited_on=gear.start,
            stopped=supply.stopped,
            price=price,
            hazard_per_day=hazard,
            access=Access(closures=outfits.closures_of(site, today=today)),
        )
        try:
            visit = upkeep.best_next_date(stand, today=max(today, gear.start))
        except TrodError as trouble:
            go_by, why = today, str(trouble)
        else:
            go_by, why = visit.plan_on, visit.sentence
    else:
        go_by, why = today, f"{site.name}: it was found stopped on {gear.stopped_on:%-d %B %Y}; go as soon as you can."
    return Forecast(
        deployment=deployment.slug,
        site=site.slug,
        site_name=site.name,
        camera=str(deployment.camera),
        card=gear.card,
        cells=gear.outfit.pack.cell.designation,
        number=gear.outfit.pack.number,
        start=gear.start,
        made_for=today,
        stopped=tuple(float(p) for p in told.stopped[: KEPT_DAYS + 1]),
        by_supply=tuple(float(p) for p in supply.stopped[: KEPT_DAYS + 1]),
        early=told.early,
        middle=told.middle,
        late=told.late,
        causes={str(k): v for k, v in told.causes.items()},
        sentence=told.sentence(),
        after_flash=told.after_flash(),
        caveats=told.caveats,
        assumed=gear.assumed,
        faults_per_day=hazard,
        found=gear.stopped_how,
        found_on=gear.stopped_on,
        go_by=go_by,
        go_why=why,
        used_wh=gear.used.energy_wh,
        used_mb=gear.used.card_mb,
        per_day=gear.arrivals.posterior.per_day,
        unknown_days=gear.unknown_days,
    )
