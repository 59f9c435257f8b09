"""Sites for a month: from sign, feature, season and what cameras saw there in that month before."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from datetime import date
from typing import Any, get_args

from django.db.models import QuerySet

from trod.catalogue.answers import evidence
from trod.catalogue.models import Reserve, Sign, Site
from trod.catalogue.rows import usual
from trod.findings import effort, localtime
from trod.findings.observations import Filter, select
from trod.planning.place import season
from trod.planning.place.season import Came, Place, SeenSign

MOST_SIGN = 20_000
_Tables = tuple[dict[tuple[str, int], float], dict[tuple[str, int, str], int], set[tuple[str, int]]]
_kept: dict[int, tuple[str, _Tables]] = {}
_lock = threading.Lock()


def day_for(month: int, today: date) -> date:
    """The day that a month is judged for: today in this month, else the middle of the next month of that name."""
    if month == today.month:
        return today
    return date(today.year + (month < today.month), month, 15)


def closed_months(closed: Any) -> tuple[int, ...]:
    """Months in which a site is closed, of whatever `Site.closed` holds: months, or {"from": "12-01", "to": "03-31"}.

    A month that is closed in part counts as closed. What cannot be read is left out.
    """
    found: set[int] = set()
    for one in closed if isinstance(closed, list) else []:
        if isinstance(one, dict):
            first, last = _month(one.get("from")), _month(one.get("to"))
            if first and last:
                found |= {(first - 1 + k) % 12 + 1 for k in range((last - first) % 12 + 1)}
        elif month := _month(one):
            found.add(month)
    return tuple(sorted(found))


def _month(told: Any) -> int:
    """The month of 3, "3", "03-31" or "2026-03-31"; 0 for anything else."""
    if isinstance(told, bool):
        return 0
    if isinstance(told, int):
        return told if 1 <= told <= 12 else 0
    parts = str(told).strip().split("-")
    text = parts[1] if len(parts) == 3 else parts[0]
    return int(text) if text.isascii() and text.isdigit() and 1 <= int(text) <= 12 else 0


def places(sites: Iterable[Site], watched: set[int]) -> list[Place]:
    """Sites as the planning room wants them. watched : numbers of the sites with a camera."""
    return [
        Place(
            name=site.name,
            latitude_deg=site.latitude,
            longitude_deg=site.longitude,
            feature=usual.feature(site),
            watched=site.pk in watched,
            sensitive=site.sensitive,
            closed=closed_months(site.closed),
        )
        for site in sites
    ]


def signs(rows: QuerySet[Sign]) -> list[SeenSign]:
    """Sign as the planning room wants it."""
    known: dict[str, season.SignKind] = {kind: kind for kind in get_args(season.SignKind)}
    return [
        SeenSign(
            kind=known.get(kind, "other"),
            seen_on=seen_on,
            latitude_deg=latitude,
            longitude_deg=longitude,
            species=species or "",
        )
        for kind, seen_on, latitude, longitude, species in rows.values_list(
            "kind", "seen_on", "latitude", "longitude", "species__name"
        )[:MOST_SIGN]
    ]


def came(reserve: Reserve, sites: Iterable[Site], month: int, species: str) -> list[Came]:
    """What cameras saw at each site in a month of any year: sequences with the species (or any animal), and effort.

    A site with none is left out while sequences of that month wait to be looked at: they may be what is asked for.
    """
    days, sequences, unseen = _tables(reserve)
    found = []
    for site in sites:
        n = sequences.get((site.slug, month, species), 0)
        if n or (site.slug, month) not in unseen:
            watched = days.get((site.slug, month), 0.0)
            found.append(Came(place=site.name, sequences=n, camera_days=watched, what=species or "animals"))
    return found


def _tables(reserve: Reserve) -> _Tables:
    """By site and month, all years together: camera-days, sequences by species ("" for any animal), months unseen."""
    account = evidence.gather(reserve)
    with _lock:
        held = _kept.get(reserve.pk)
    if held is not None and held[0] == account.stamp:
        return held[1]
    evidence.leave_if_long(account, lambda: _count(account, reserve.pk, reserve.zone))
    return _count(account, reserve.pk, reserve.zone)


def _count(account: evidence.Account, number: int, zone: str) -> _Tables:
    days: dict[tuple[str, int], float] = {}
    for (site, first), part in effort.effort(select(account.evidence, Filter())).site_days_by_site_month.items():
        days[site, first.month] = days.get((site, first.month), 0.0) + part
    animals = [s for s in account.evidence.observations if s.what == "animal"]
    months = localtime.months_of([s.utc_s for s in animals], zone) if animals else []
    seen: set[tuple[str, int, str, str]] = set()
    for observation, first in zip(animals, months, strict=True):
        seen.add((observation.site, first.month, "", observation.sequence))
        if observation.species_name:
            seen.add((observation.site, first.month, observation.species_name, observation.sequence))
    sequences: dict[tuple[str, int, str], int] = {}
    for site, month, name, _ in seen:
        sequences[site, month, name] = sequences.get((site, month, name), 0) + 1
    waiting = account.evidence.unseen
    of_waiting = localtime.months_of([u.utc_s for u in waiting], zone) if waiting else []
    unseen = {(one.site, first.month) for one, first in zip(waiting, of_waiting, strict=True)}
    with _lock:
        if len(_kept) > 16:
            _kept.clear()
        _kept[number] = (account.stamp, (days, sequences, unseen))
    return days, sequences, unseen
