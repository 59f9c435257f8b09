"""What of the rows proves when a camera watched: one reading for findings, pages and exports.

Pictures that prove nothing: of which the file's date alone tells the time, and those later than the visit that took
their card out, or than their card's import.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Protocol

import numpy as np
from django.db.models import Count, Max, Min, Q
from numpy.typing import NDArray

from trod import clock
from trod.catalogue.models import Import, Incident, Picture, Silence, Visit, WalkTest
from trod.findings import watching
from trod.findings.watching import Decision, Fact, Watching

RULE = "proofs 2"  # another name wherever the rules change, so that what is kept is worked out anew
# What a visit's finding says. A blind or knocked one still ran: its pictures tell what it saw.
FOUND: dict[str, watching.Says] = {
    Visit.Arrival.WORKING: "watching",
    Visit.Arrival.BLIND: "watching",
    Visit.Arrival.KNOCKED: "watching",
    Visit.Arrival.DEAD: "stopped",
    Visit.Arrival.FULL: "full",
    Visit.Arrival.GONE: "gone",
}
# Ours: a visit lasts, and its time is written to the minute; pictures of so long after it may be on the card it took.
CARD_SLACK = timedelta(hours=1)
OWN_TIMES = ("exif", "clip")  # times that the camera wrote into the file


class Stands(Protocol):
    """A deployment, or what of one is needed here."""

    @property
    def pk(self) -> int: ...
    @property
    def start(self) -> datetime: ...
    @property
    def end(self) -> datetime | None: ...
    @property
    def time_lapse_h(self) -> float | None: ...


@dataclass(frozen=True, kw_only=True)
class Came:
    """A visit, as far as it matters here. card_out : the label of the card that it took out."""

    at: datetime
    arrival: str
    card_out: str | None = None


@dataclass(frozen=True, kw_only=True)
class Times:
    """A deployment's sequences, each an entry of the arrays; NaN where its pictures prove nothing. [Unix s]

    lapse : taken by the clock.
    """

    starts: NDArray[np.float64]
    ends: NDArray[np.float64]
    lapse: NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Rests:
    """What a camera's watched time rests on, beside the times of its sequences.

    home : when the last import began; None when there is none. cards : (import's name, instant after which its
    pictures prove nothing). walks : walk tests that made a picture. incidents : (day found, kind) of those through
    which the camera stopped. said : silences that a person decided, in order, as (from, to, watched, uuid).
    """

    start: datetime
    end: datetime | None
    time_lapse_h: float | None
    zone: str
    home: datetime | None = None
    came: tuple[Came, ...] = ()
    cards: tuple[tuple[str, datetime], ...] = ()
    walks: tuple[datetime, ...] = ()
    incidents: tuple[tuple[date, str], ...] = ()
    said: tuple[tuple[datetime, datetime, bool, str], ...] = field(default=())

    def key(self, times: str) -> str:
        """The same as long as nothing of it changed. times : the sequences' own."""
        instants = [at and at.astimezone(UTC).isoformat() for at in (self.start, self.end, self.home, *self.walks)]
        came = [(c.at.astimezone(UTC).isoformat(), str(c.arrival), c.card_out) for c in self.came]
        cards = [(name, at.astimezone(UTC).isoformat()) for name, at in self.cards]
        said = [(a.astimezone(UTC).isoformat(), b.astimezone(UTC).isoformat(), w, k) for a, b, w, k in self.said]
        told = repr((RULE, times, instants, self.time_lapse_h, came, cards, self.incidents, said, self.zone))
        return hashlib.sha256(told.encode()).hexdigest()[:32]

    def facts(self) -> list[Fact]:
        """What people found, each at its instant."""
        out = [Fact(at_s=at.timestamp(), says="watching") for at in self.walks]
        out += [Fact(at_s=v.at.timestamp(), says=FOUND[v.arrival]) for v in self.came if v.arrival in FOUND]
        where = clock.zone(self.zone)
        for day, kind in self.incidents:
            # At the visit of that day, if there was one; a visit of the day tells when somebody stood there.
            of_day = [v.at for v in self.came if v.at.astimezone(where).date() == day]
            at = min(of_day, default=datetime.combine(day, time(12), where))
            out.append(Fact(at_s=at.timestamp(), says="gone" if kind == Incident.Kind.THEFT else "stopped"))
        return out

    def known_to(self, last_s: float | None) -> float | None:
        """Up to when it is known what the camera did. [Unix s]

        By its last picture, its end, a card that came home, or a person's decision that it watched.

        A camera in the field is no evidence of absence for the days whose card nobody has read yet.
        """
        known = [] if last_s is None else [last_s]
        known += [until.timestamp() for _, until, watched, _ in self.said if watched]
        if self.home is not None:
            known += [v.at.timestamp() for v in self.came if v.card_out is not None and v.at <= self.home]
            if self.end is not None and self.home >= self.end:
                known.append(self.end.timestamp())
        if not known:
            return None
        latest = max(known)
        return latest if self.end is None else min(latest, self.end.timestamp())

    def work_out(self, times: Times) -> tuple[float | None, Watching | None]:
        """Up to when it is known what the camera did, and when it watched until then."""
        proven = np.isfinite(times.ends)
        known_s = self.known_to(float(times.ends[proven].max()) if proven.any() else None)
        start_s = self.start.timestamp()
        if known_s is None or known_s <= start_s:
            return known_s, None
        lapse = times.lapse
        return known_s, watching.work_out(
            start_s,
            known_s,
            pictures_s=np.concatenate([times.starts[~lapse], times.ends[~lapse]]),
            frames_s=times.starts[lapse],
            daily_frames=bool(self.time_lapse_h and self.time_lapse_h <= 24),
            facts=self.facts(),
            decisions=[
                Decision(from_s=a.timestamp(), to_s=b.timestamp(), watched=watched, key=key)
                for a, b, watched, key in self.said
            ],
            zone_name=self.zone,
        )


def rests_on(deployments: Iterable[Stands], zone: str) -> dict[int, Rests]:
    """What the watched time of these deployments rests on, by their number; five queries."""
    every = list(deployments)
    numbers = [one.pk for one in every]
    came: dict[int, list[Came]] = {}
    for deployment, at, arrival, card_out in (
        Visit.objects.filter(deployment__in=numbers)
        .order_by("at", "uuid")
        .values_list("deployment", "at", "arrival", "card_out__label")
    ):
        came.setdefault(deployment, []).append(Came(at=at, arrival=arrival, card_out=card_out))
    homes: dict[int, datetime] = {}
    cards: dict[int, list[tuple[str, datetime]]] = {}
    for deployment, name, card, at in (
        Import.objects.filter(deployment__in=numbers, state=Import.State.WHOLE)
        .order_by("started_at", "name")
        .values_list("deployment", "name", "card__label", "started_at")
    ):
        homes[deployment] = at
        cards.setdefault(deployment, []).append((name, _proves_until(card, at, came.get(deployment, ()))))
    walks: dict[int, list[datetime]] = {}
    for deployment, at, made in (
        WalkTest.objects.filter(deployment__in=numbers).order_by("at", "uuid").values_list("deployment", "at", "walks")
    ):
        if any(isinstance(walk, Mapping) and walk.get("got") in ("empty", "part", "whole") for walk in made or ()):
            walks.setdefault(deployment, []).append(at)
    incidents: dict[int, list[tuple[date, str]]] = {}
    for deployment, day, kind in (
        Incident.objects.filter(deployment__in=numbers, stopped=True)
        .order_by("found_on", "uuid")
        .values_list("deployment", "found_on", "kind")
    ):
        incidents.setdefault(deployment or 0, []).append((day, kind))
    said: dict[int, list[tuple[datetime, datetime, bool, str]]] = {}
    for deployment, a, b, watched, uuid in (
        Silence.objects.filter(deployment__in=numbers, undone_at__isnull=True)
        .order_by("at", "uuid")
        .values_list("deployment", "from_at", "to_at", "watched", "uuid")
    ):
        said.setdefault(deployment, []).append((a, b, watched, str(uuid)))
    return {
        one.pk: Rests(
            start=one.start,
            end=one.end,
            time_lapse_h=one.time_lapse_h,
            zone=zone,
            home=homes.get(one.pk),
            came=tuple(came.get(one.pk, ())),
            cards=tuple(cards.get(one.pk, ())),
            walks=tuple(walks.get(one.pk, ())),
            incidents=tuple(incidents.get(one.pk, ())),
            said=tuple(said.get(one.pk, ())),
        )
        for one in every
    }


def _proves_until(card: str | None, imported: datetime, came: Iterable[Came]) -> datetime:
    """After when the pictures of an import prove nothing: the visit that took its card out, else the import."""
    taken = [v.at for v in came if card is not None and v.card_out == card and v.at <= imported]
    return min(taken[-1] + CARD_SLACK, imported) if taken else imported


def own_times(rests: Mapping[int, Rests]) -> dict[int, tuple[float, float]]:
    """First and last instant that the pictures of a sequence prove, for those sequences of which some prove nothing.

    NaN where none does. rests : by the deployments' numbers. [Unix s]

    One query over their pictures, and two more where some prove nothing.
    """
    until = dict(card for one in rests.values() for card in one.cards)
    mine = Picture.objects.filter(deployment__in=list(rests), sequence__isnull=False).order_by()
    by_date = ~Q(time_from__in=OWN_TIMES)
    idle = Q(pk__in=())
    for name, latest, dated in (
        mine.values("card_import__name")
        .annotate(latest=Max("taken_at"), dated=Count("pk", filter=by_date))
        .values_list("card_import__name", "latest", "dated")
    ):
        if dated:
            idle |= Q(card_import__name=name) & by_date
        if name in until and latest is not None and latest > until[name]:
            idle |= Q(card_import__name=name, taken_at__gt=until[name])
    if idle == Q(pk__in=()):
        return {}
    touched = dict.fromkeys(mine.filter(idle).values_list("sequence", flat=True).distinct(), (np.nan, np.nan))
    for sequence, first, last in (
        mine.exclude(idle)
        .values("sequence")
        .annotate(first=Min("taken_at"), last=Max("taken_at"))
        .values_list("sequence", "first", "last")
    ):
        if sequence in touched and first is not None:
            touched[sequence] = (first.timestamp(), last.timestamp())
    return touched


def proving(times: Times, numbers: Sequence[int], own: Mapping[int, tuple[float, float]]) -> Times:
    """Times of sequences as far as their pictures prove them. numbers : of the sequences; own : see `own_times`."""
    if not own:
        return times
    starts, ends = times.starts.copy(), times.ends.copy()
    for at, number in enumerate(numbers):
        if number in own:
            starts[at], ends[at] = own[number]
    return Times(starts=starts, ends=ends, lapse=times.lapse)
