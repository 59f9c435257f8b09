"""A card's times held against what is known of its stay: faults of the clock kept with the import, and put right.

What is kept carries a digest of what it was worked out from, so that a visit, a place or an offset changed later leads
to a new look and to no stale proposal.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from trod import clock
from trod.catalogue.imports import clocks
from trod.catalogue.models import ClockCorrection, Deployment, Import, Reserve, Visit
from trod.errors import WrongInput
from trod.plain import plain as as_plain
from trod.plain import record
from trod.timekeeping import faults
from trod.timekeeping.faults import Fault, Reading, Stay

RULE = "clock faults 2"  # another name wherever the rules change


@dataclass(frozen=True)
class Kept:
    """The faults of one import. of : digest of what they were worked out from."""

    of: str
    faults: tuple[Fault, ...]


def stay_of(card_import: Import) -> Stay | None:
    """What is known of the time in which an import's pictures were taken; None for one without a deployment."""
    deployment = card_import.deployment
    if deployment is None:
        return None
    site = deployment.site
    home = card_import.started_at
    visits = [v for v in deployment.visits.order_by("at", "uuid") if v.at <= home]
    taken = [v for v in visits if card_import.card_id is not None and v.card_out_id == card_import.card_id]
    ended: datetime | None = None
    if taken:
        ended = taken[-1].at
    elif deployment.end is not None and deployment.end <= home:
        ended = deployment.end
    changed = [v.at for v in visits if v.card_out_id is not None and (ended is None or v.at < ended)]
    begun = max([deployment.start, *changed[-1:]]) if taken else deployment.start
    begun_s, until_s = begun.timestamp(), (ended or home).timestamp()
    return Stay(
        now_s=home.timestamp(),
        begun_s=begun_s,
        ended_s=None if ended is None else ended.timestamp(),
        utc_offset_min=float(deployment.utc_offset_min),
        latitude_deg=site.latitude,
        longitude_deg=site.longitude,
        changes_s=clock.changes_s(begun_s, until_s, site.reserve.zone) if until_s > begun_s else (),
        readings=tuple(_readings(visits, begun, ended)),
    )


def _readings(visits: Iterable[Visit], begun: datetime, ended: datetime | None) -> Iterable[Reading]:
    slack = timedelta(hours=1)
    for visit in visits:
        shown = clocks.naive(visit.clock_shown)
        inside = begun - slack <= visit.at and (ended is None or visit.at <= ended + slack)
        if shown is not None and visit.clock_true is not None and inside:
            yield Reading(shown_s=clock.raw_seconds(shown), true_s=visit.clock_true.timestamp())


def look(card_import: Import) -> tuple[Fault, ...]:
    """Hold an import's times against its stay, anew where something changed; what is found is kept."""
    stay = stay_of(card_import)
    if stay is None:
        return ()
    rows = list(
        card_import.pictures.filter(foreign=False, looked=True, time_from="exif", taken_raw__isnull=False)
        .order_by("file_order")
        .values_list("taken_raw", "infrared")
    )
    shown = np.array([clock.raw_seconds(raw.replace(tzinfo=None)) for raw, _ in rows if raw], dtype=np.float64)
    grey = np.array([np.nan if flag is None else float(flag) for _, flag in rows], dtype=np.float64)
    of = hashlib.sha256(repr((RULE, as_plain(stay))).encode() + shown.tobytes() + grey.tobytes()).hexdigest()[:32]
    known = kept(card_import)
    if known is not None and known.of == of:
        return known.faults
    found = faults.faults(shown, stay, grey=grey)
    card_import.clock_faults = as_plain(Kept(of, found))
    Import.objects.filter(pk=card_import.pk).update(clock_faults=card_import.clock_faults)
    return found


def kept(card_import: Import) -> Kept | None:
    """What the last look found; None before the first, or where what is kept is of another make."""
    try:
        return record(Kept, card_import.clock_faults, what="clock_faults", needed="faults of a clock")
    except WrongInput:
        return None


def open_faults(card_import: Import, found: Iterable[Fault]) -> list[tuple[int, Fault]]:
    """The faults, by their number, of which no correction that stands speaks yet."""
    if card_import.deployment is None:
        return []
    made = list(ClockCorrection.objects.filter(deployment=card_import.deployment, undone_at__isnull=True))
    return [(n, fault) for n, fault in enumerate(found) if not any(_speaks_of(one, fault) for one in made)]


def waiting(reserve: Reserve) -> list[tuple[Import, int, Fault]]:
    """Faults as the last look of each import found them, of which no correction speaks yet: import, number, fault."""
    rows = (
        Import.objects.filter(deployment__site__reserve=reserve, state=Import.State.WHOLE, clock_faults__isnull=False)
        .exclude(clock_faults__faults=[])
        .select_related("deployment__camera", "deployment__site__reserve")
        .order_by("started_at")
    )
    return [
        (row, number, fault)
        for row in rows
        if (known := kept(row)) is not None
        for number, fault in open_faults(row, known.faults)
    ]


def _speaks_of(made: ClockCorrection, fault: Fault) -> bool:
    low, high = clocks.naive(made.from_raw), clocks.naive(made.to_raw)
    middle = clock.raw_from_seconds((fault.from_s + fault.to_s) / 2)
    return (low is None or low <= middle) and (high is None or middle < high)


def put_right(
    deployment: Deployment, fault: Fault, *, add_s: float, reason: str, by: str, now: datetime, plain: bool = False
) -> tuple[ClockCorrection, list[str]]:
    """Correct the clock over a fault's stretch by what was proposed, or by what a person chose among what was offered.

    plain : the shift alone, without the fault's drift, as for a clock that was right after all.
    """
    return clocks.correct(
        deployment,
        shift_s=add_s,
        drift_s_per_day=0.0 if plain else fault.drift_s_per_day,
        from_raw=clock.raw_from_seconds(fault.from_s),
        to_raw=clock.raw_from_seconds(fault.to_s),
        reason=reason,
        by=by,
        now=now,
        later=clocks.is_long_work(deployment),
    )
