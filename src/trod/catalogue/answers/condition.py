"""How the cameras fared: each deployment in numbers, and what was found wrong or done, line by line."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime

from trod import clock, wording
from trod.catalogue import models
from trod.catalogue.answers.evidence import Account
from trod.report.contents import Condition

DAY_S = 86_400.0
# Less than this is the ordinary silence before a card is pulled. [days] Ours.
LEAST_GAP_DAYS = 1.0
# A clock within two minutes is right enough for sequences and hours. [s] Ours.
CLOCK_S = 120.0
# Batteries that are nearly run down are told; changing good ones is upkeep. Ours.
LOW_BATTERY_PERCENT = 20.0

FOUND = {
    models.Visit.Arrival.DEAD: "found without power",
    models.Visit.Arrival.FULL: "found with a full card",
    models.Visit.Arrival.KNOCKED: "found moved or knocked",
    models.Visit.Arrival.BLIND: "found with its lens iced, dirty or grown over",
    models.Visit.Arrival.GONE: "gone",
}


@dataclass(frozen=True, kw_only=True)
class Standing:
    """One deployment in numbers. Days are camera-days of 24 hours; None when no picture of it is at home.

    known_to : up to when it is known what the camera did. problems : in words, oldest first.
    """

    deployment: str
    site: str
    camera: str
    start: datetime
    end: datetime | None
    known_to: datetime | None
    watched_days: float | None
    gap_days: float | None
    open_days: float | None
    visits: int
    last_visit: datetime | None
    sequences: int
    problems: tuple[str, ...]


def conditions(reserve: models.Reserve, account: Account) -> tuple[Condition, ...]:
    """What was found wrong with, or done to, the cameras of a reserve, in time order. Four queries."""
    zone = reserve.zone
    mine = {d.slug: d for d in account.evidence.deployments}
    out: list[Condition] = []

    def note(deployment: str, when: date, what: str) -> None:
        stood = mine[deployment]
        out.append(Condition(site=stood.site, camera=stood.camera, when=when, what=what))

    of_reserve = {"deployment__site__reserve": reserve}
    for slug, at, arrival, batteries, changed, shown, true, offset in (
        models.Visit.objects.filter(**of_reserve)
        .order_by("at", "uuid")
        .values_list(
            "deployment__slug",
            "at",
            "arrival",
            "battery_percent",
            "batteries_changed",
            "clock_shown",
            "clock_true",
            "deployment__utc_offset_min",
        )
    ):
        what = [FOUND[models.Visit.Arrival(arrival)]] if arrival in FOUND else []
        error = clock.error_s(shown, true, offset)
        if error is not None and abs(error) >= CLOCK_S:
            what.append(f"its clock was {wording.clock_error(error)}")
        if batteries is not None and batteries <= LOW_BATTERY_PERCENT:
            left = f"batteries at {wording.trimmed(batteries)} %" if batteries > 0 else "batteries empty"
            what.append(f"{left}{', changed' if changed else ''}")
        if what:
            note(slug, _day(at, zone), wording.listed(what))
    for slug, at, damaged in (
        models.Import.objects.filter(**of_reserve, damaged__gt=0)
        .order_by("started_at", "name")
        .values_list("deployment__slug", "started_at", "damaged")
    ):
        note(slug, _day(at, zone), f"{wording.plural(damaged, 'damaged file')} on its card")
    for slug, at, reason in (
        models.ClockCorrection.objects.filter(**of_reserve, undone_at__isnull=True)
        .order_by("at", "uuid")
        .values_list("deployment__slug", "at", "reason")
    ):
        note(slug, _day(at, zone), f"its pictures' times corrected: {reason}")
    for slug, piece in account.pieces.items():
        if piece.line is None:
            continue
        for gap in piece.line.lost:
            if gap.days >= LEAST_GAP_DAYS:
                note(
                    slug,
                    _day_s(gap.from_s, zone),
                    f"did not watch for {wording.number(gap.days, 2)} days from here on: {gap.reason}",
                )
        for silence in piece.line.open:
            if silence.days >= LEAST_GAP_DAYS:
                note(
                    slug,
                    _day_s(silence.from_s, zone),
                    f"silent for {wording.number(silence.days, 2)} days from here on: {silence.reason}; nobody knows "
                    "whether it watched",
                )
    return tuple(sorted(out, key=lambda c: (c.when, c.site, c.camera, c.what)))


def standings(reserve: models.Reserve, account: Account) -> tuple[Standing, ...]:
    """Each deployment in numbers, by slug."""
    problems: dict[tuple[str, str], list[str]] = {}
    for line in conditions(reserve, account):
        problems.setdefault((line.site, line.camera), []).append(f"{line.when.isoformat()} {line.what}")
    visits: dict[str, list[datetime]] = {}
    for slug, at in (
        models.Visit.objects.filter(deployment__site__reserve=reserve)
        .order_by("at")
        .values_list("deployment__slug", "at")
    ):
        visits.setdefault(slug, []).append(at)
    out = []
    stoods = {d.slug: d for d in account.evidence.deployments}
    for slug, site, start, end in (
        models.Deployment.objects.filter(site__reserve=reserve)
        .order_by("slug")
        .values_list("slug", "site__slug", "start", "end")
    ):
        piece = account.pieces[slug]
        watch, stood = piece.line, stoods[slug]
        last = end or datetime.max.replace(tzinfo=UTC)
        out.append(
            Standing(
                deployment=slug,
                site=site,
                camera=stood.camera,
                start=start,
                end=end,
                known_to=datetime.fromtimestamp(piece.known_to_s, UTC) if watch and piece.known_to_s else None,
                watched_days=watch.proven_days if watch else None,
                gap_days=watch.lost_days if watch else None,
                open_days=watch.open_days if watch else None,
                visits=len(visits.get(slug, ())),
                last_visit=max(visits.get(slug, ()), default=None),
                sequences=piece.sequences,
                problems=tuple(
                    p
                    for p in problems.get((site, stood.camera), ())
                    if start.date().isoformat() <= p[:10] <= last.date().isoformat()
                ),
            )
        )
    return tuple(out)


def _day(at: datetime, zone: str) -> date:
    return clock.local(at, zone).date()


def _day_s(at_s: float, zone: str) -> date:
    return _day(datetime.fromtimestamp(at_s, UTC), zone)
