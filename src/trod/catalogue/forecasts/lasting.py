"""How long one camera lasts, in full: worked out by the worker when somebody asks, kept, and shown.

It takes half a second and more and reads all that the site's cards brought home, so no page waits for it. What
somebody typed is part of the key; what is kept is stamped like the forecasts (`catalogue.forecasts.basis`), and a
stale one is shown with its age until the new one is there.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trod import clock
from trod.archive import disk
from trod.catalogue import home, jobs
from trod.catalogue.forecasts import forecasts, outfits, what_if
from trod.catalogue.forecasts.forecasts import Forecast, Price
from trod.catalogue.forecasts.what_if import Help
from trod.catalogue.models import Deployment, Job
from trod.errors import TrodError, WrongInput
from trod.plain import plain, record
from trod.planning.last.outfit_change import Change
from trod.planning.visit.upkeep import VisitPrice
from trod.telling import endurance

JOB = "lasting"
VERSION = 3
MOST_KEPT = 300  # answers of a reserve, the ones typed for once among them


@dataclass(frozen=True, kw_only=True)
class Lasting:
    """One camera worked out in full.

    by_cause : chance that it has stopped by day 0, 1, 2 … by each cause, faults and theft with it. as_is : what it
    would be if it were visited today, in words; other : set otherwise. trouble : why that cannot be.
    """

    forecast: Forecast
    by_cause: Mapping[str, NDArray[np.float64]]
    price: VisitPrice
    hazard_per_day: float | None
    helps: tuple[Help, ...]
    as_is: str
    as_is_says: str
    as_is_now: dict[str, str]
    other: str = ""
    other_says: str = ""
    trouble: str = ""


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What is kept. stale : what it rests on has changed since, or the day."""

    lasting: Lasting
    made_at: datetime
    stale: bool


def work_out(row: Deployment, now: datetime, *, price: Price, change: Change) -> Lasting:
    """Everything about one standing camera, worked out now."""
    reserve = row.site.reserve
    today = clock.local(now, reserve.zone).date()
    climate = outfits.climate_of(reserve)
    ((deployment, gear),) = forecasts.equipment(reserve, now, only=row)
    reckoned = forecasts.reckon(deployment, gear, climate=climate, today=today, close=True, price=price)
    as_is, as_is_stop = what_if.visited(gear, today=today, climate=climate)
    other = other_says = trouble = ""
    if not change.nothing:
        try:
            outfit, stop = what_if.visited(gear, today=today, climate=climate, change=change)
            other, other_says = endurance.outfit(outfit), endurance.sentence(stop)
        except WrongInput as wrong:
            trouble = str(wrong)
    return Lasting(
        forecast=reckoned.forecast,
        by_cause=reckoned.by_cause,
        price=reckoned.price,
        hazard_per_day=reckoned.hazard_per_day,
        helps=what_if.what_helps(gear, reckoned, today=today, climate=climate),
        as_is=endurance.outfit(as_is),
        as_is_says=endurance.sentence(as_is_stop),
        as_is_now={
            "batteries": as_is.pack.name,
            "card_gb": f"{as_is.card_gb:g}",
            "delay_s": f"{as_is.delay_s:g}",
            "burst": str(as_is.frames),
        },
        other=other,
        other_says=other_says,
        trouble=trouble,
    )


# Kept -------------------------------------------------------------------------------------------------------


def args_of(row: Deployment, price: Price, change: Change) -> dict[str, Any]:
    """What a job is asked for."""
    return {"deployment": row.slug, "price": plain(price), "change": plain(change)}


def _path(args: Mapping[str, Any]) -> Path:
    told = hashlib.sha256(json.dumps(args, sort_keys=True).encode()).hexdigest()[:24]
    return home.home() / "cache" / "lasting" / f"{told}.json"


def kept(row: Deployment, price: Price, change: Change, now: datetime) -> Kept | None:
    """What is kept for these figures; None when nothing is. Reads one small file and works nothing out."""
    reserve = row.site.reserve
    try:
        data = json.loads(_path(args_of(row, price, change)).read_bytes())
        if data["version"] != [VERSION, forecasts.VERSION]:
            return None
        found = record(Lasting, data["lasting"], what="lasting", needed="one that was kept here")
        made_at = datetime.fromisoformat(data["made_at"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    today = clock.local(now, reserve.zone).date()
    return Kept(lasting=found, made_at=made_at, stale=data["stamp"] != forecasts.stamp(reserve, today=today))


def make(row: Deployment, now: datetime, *, price: Price, change: Change) -> Lasting:
    """Work it out and keep it."""
    reserve = row.site.reserve
    mark = forecasts.stamp(reserve, today=clock.local(now, reserve.zone).date())
    found = work_out(row, now, price=price, change=change)
    path = _path(args_of(row, price, change))
    data = {
        "version": [VERSION, forecasts.VERSION],
        "stamp": mark,
        "made_at": now.astimezone(UTC).isoformat(),
        "lasting": plain(found),
    }
    # Kept only to spare the work.
    with contextlib.suppress(OSError, TrodError):
        path.parent.mkdir(parents=True, exist_ok=True)
        disk.write_file(path, json.dumps(data).encode())
        _thin_out(path.parent)
    return found


def _thin_out(folder: Path) -> None:
    files = sorted(folder.glob("*.json"), key=lambda p: p.stat().st_mtime)
    for old in files[:-MOST_KEPT]:
        old.unlink(missing_ok=True)


def job_of(args: Mapping[str, Any]) -> Job | None:
    """The job that was asked for these figures last."""
    return Job.objects.filter(kind=JOB, args=dict(args)).order_by("-id").first()


def ask(row: Deployment, price: Price, change: Change) -> Job:
    """Put it into the worker's queue, unless it is there already."""
    args = args_of(row, price, change)
    last = job_of(args)
    if last is not None and last.state in (Job.State.WAITING, Job.State.RUNNING, Job.State.PAUSED):
        return last
    return jobs.ask(JOB, args, by="Trod")


def do_job(args: Mapping[str, Any], now: datetime) -> None:
    """What a worker does. Raises WrongInput when the camera stands no longer."""
    row = Deployment.objects.select_related("camera__model", "site__reserve", "card").get(slug=args["deployment"])
    if row.end is not None:
        raise WrongInput("deployment", got=f"{row.slug}, which has ended", needed="one that stands")
    asked = "what was asked for"
    price = record(Price, args["price"], what="price", needed=asked)
    make(row, now, price=price, change=record(Change, args["change"], what="change", needed=asked))
