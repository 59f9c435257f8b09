"""Daily sums of sequences and identifications, kept true by whoever changes them.

An import, a corrected clock, a moved card and a rebuild sum their deployments up anew; an identification and its undo
sum up their day. All of it in the transaction of the change itself. Whoever changes sequences in another way marks the
deployment dirty, by the rows' own manager: then it is counted afresh, until the worker comes by and sums it up.
"""

from __future__ import annotations

import hashlib
import json
from collections import abc
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
from django.db import connection, transaction
from django.db.models import BigIntegerField, Count, Func, Max, Q, QuerySet, Sum
from numpy.typing import NDArray

from trod import clock
from trod.catalogue.models import (
    DaySum,
    Deployment,
    DeploymentSum,
    Import,
    Observation,
    Reserve,
    Sequence,
    Visit,
)
from trod.catalogue.models.sums import COUNTS, new_revision
from trod.catalogue.rows import watched
from trod.catalogue.rows.watched import Came
from trod.pictures.timeline import Gap, Interval, Timeline

EPOCH = date(1970, 1, 1)
MANY_DAYS = 20  # beyond that the whole deployment is quicker
KEPT = ("pk", "revision", "times", "first_at", "last_at", "line_key", *COUNTS)


class Millis(Func):
    """A time column as whole milliseconds since 1970."""

    output_field = BigIntegerField()

    def as_sqlite(self, compiler: Any, connection: Any, **more: Any) -> Any:
        return self.as_sql(
            compiler,
            connection,
            template="CAST(ROUND((julianday(%(expressions)s) - 2440587.5) * 86400000) AS INTEGER)",
            **more,
        )

    def as_postgresql(self, compiler: Any, connection: Any, **more: Any) -> Any:
        return self.as_sql(
            compiler,
            connection,
            template="CAST(EXTRACT(EPOCH FROM %(expressions)s) * 1000 AS BIGINT)",
            **more,
        )


# Read -------------------------------------------------------------------------------------------------------


def trusted(zone: str) -> Q:
    """Sums that are true: not dirty, and in days of the reserve as it is now."""
    return Q(dirty=False) & Q(zone__in=("", zone))


def kept(deployments: Iterable[int], zone: str) -> dict[int, Any]:
    """The sums of these deployments by their number, as far as they can be trusted; one query."""
    numbers = list(deployments)
    rows = DeploymentSum.objects.filter(trusted(zone))
    if len(numbers) <= 500:
        rows = rows.filter(deployment__in=numbers)
    wanted = set(numbers)
    return {row.pk: row for row in rows.values_list(*KEPT, named=True) if row.pk in wanted}


def total(of: QuerySet[Deployment], zone: str, *names: str) -> dict[str, int] | None:
    """Counts of these deployments in all; None when one of them is to be counted afresh. One query."""
    own = Q(kept_sum__dirty=False) & Q(kept_sum__zone__in=("", zone))
    found = of.order_by().aggregate(
        every=Count("pk"), known=Count("pk", filter=own), **{name: Sum(f"kept_sum__{name}") for name in names}
    )
    if found["every"] != found["known"]:
        return None
    return {name: found[name] or 0 for name in names}


def days(of: QuerySet[Deployment], zone: str) -> list[DaySum]:
    """Every day of these deployments; one query, and two for each that is to be counted afresh."""
    names = ("day", "species", "most", *COUNTS)
    rows = of.order_by("pk", "kept_days__day").values_list(
        "pk", "kept_sum__dirty", "kept_sum__zone", *(f"kept_days__{name}" for name in names)
    )
    found: list[Any] = []
    afresh: list[Any] = []
    for number, dirty, of_zone, *values in rows:
        if dirty is not False or of_zone not in ("", zone):
            if not afresh or afresh[-1] != number:
                afresh.append(number)
        elif values[0] is not None:
            found.append(DaySum(deployment_id=number, **dict(zip(names, values, strict=True))))
    for number in afresh:
        mine = Sequence.objects.filter(deployment=number)
        found += count_days(number, read(mine), _said(mine), zone)
    return found


def species(every: Iterable[DaySum]) -> dict[int, tuple[int, int]]:
    """Species by number: in how many sequences they were, and the most at once."""
    found: dict[int, tuple[int, int]] = {}
    for one in every:
        for number, (sequences, most) in one.species.items():
            n, top = found.get(int(number), (0, 0))
            found[int(number)] = (n + sequences, max(top, most))
    return found


# Sum up -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Rows:
    """Sequences of one deployment, by their start. dark : 1 in infrared, 0 by daylight, -1 not told."""

    starts: NDArray[np.float64]
    ends: NDArray[np.float64]
    frames: NDArray[np.int64]
    lapse: NDArray[np.bool_]
    dark: NDArray[np.int64]
    word: NDArray[np.int64]

    @property
    def times(self) -> watched.Times:
        return watched.Times(starts=self.starts, ends=self.ends, lapse=self.lapse)


def read(rows: QuerySet[Sequence]) -> Rows:
    """Sequences as arrays, in one query."""
    found = list(
        rows.order_by("start_at", "key")
        .annotate(s=Millis("start_at"), e=Millis("end_at"))
        .values_list("s", "e", "frames", "time_lapse", "infrared", "identification_id")
    )
    columns = list(zip(*found, strict=True)) if found else [()] * 6
    return Rows(
        starts=np.array(columns[0], dtype=np.float64) / 1000.0,
        ends=np.array(columns[1], dtype=np.float64) / 1000.0,
        frames=np.array(columns[2], dtype=np.int64),
        lapse=np.array(columns[3], dtype=bool),
        dark=np.array([-1 if dark is None else int(dark) for dark in columns[4]], dtype=np.int64),
        word=np.array([word or 0 for word in columns[5]], dtype=np.int64),
    )


def _said(rows: QuerySet[Sequence]) -> dict[int, list[tuple[str, int | None, int]]]:
    """What the identifications that stand say, by their number."""
    standing = rows.filter(identification__isnull=False).order_by().values("identification")
    said: dict[int, list[tuple[str, int | None, int]]] = {}
    for word, what, of, count in (
        Observation.objects.filter(identification__in=standing)
        .order_by()
        .values_list("identification", "what", "species", "count")
    ):
        said.setdefault(word, []).append((what, of, count))
    return said


def day_numbers(utc_s: NDArray[np.float64], zone: str) -> NDArray[np.int64]:
    """Local days as numbers, 0 for 1 January 1970."""
    if not len(utc_s):
        return np.zeros(0, dtype=np.int64)
    return np.floor((utc_s + clock.utc_offsets_s(utc_s, zone)) / 86_400).astype(np.int64)


def count_days(
    deployment: int, rows: Rows, said: Mapping[int, abc.Sequence[tuple[str, int | None, int]]], zone: str
) -> list[DaySum]:
    """The days of these sequences, counted."""
    numbers, where = np.unique(day_numbers(rows.starts, zone), return_inverse=True)
    blank = np.array([any(what == "blank" for what, _, _ in said.get(int(w), ())) for w in rows.word], dtype=bool)
    detection, unseen = ~rows.lapse, rows.word == 0
    weights = {
        "sequences": detection,
        "dark": detection & (rows.dark == 1),
        "light": detection & (rows.dark == 0),
        "unreviewed": detection & unseen,
        "unreviewed_dark": detection & unseen & (rows.dark == 1),
        "unreviewed_light": detection & unseen & (rows.dark == 0),
        "identified": detection & ~unseen,
        "blanks": detection & ~unseen & blank,
        "frames": np.where(detection, rows.frames, 0),
        "pictures": rows.frames,
    }
    counted = {
        name: np.bincount(where, weights=weight.astype(float), minlength=len(numbers)).astype(int).tolist()
        for name, weight in weights.items()
    }
    kinds: list[dict[str, list[int]]] = [{} for _ in numbers]
    top = [0 for _ in numbers]
    for day, word in zip(where.tolist(), rows.word.tolist(), strict=True):
        together: dict[int | None, int] = {}
        for what, of, count in said.get(word, ()):
            if what == "animal":
                together[of] = together.get(of, 0) + count
        top[day] = max([top[day], *together.values()])
        for of, count in together.items():
            if of is None:
                continue
            n, most = kinds[day].get(str(of), (0, 0))
            kinds[day][str(of)] = [n + 1, max(most, count)]
    return [
        DaySum(
            deployment_id=deployment,
            day=EPOCH + timedelta(days=int(number)),
            species=kinds[i],
            most=top[i],
            **{name: counted[name][i] for name in COUNTS},
        )
        for i, number in enumerate(numbers.tolist())
    ]


def _held(deployment: int) -> tuple[DeploymentSum, bool]:
    """A deployment's row, held until the transaction ends, and whether it is new."""
    row, new = DeploymentSum.objects.get_or_create(
        deployment_id=deployment, defaults={"revision": new_revision(), "times": new_revision(), "dirty": True}
    )
    if connection.features.has_select_for_update:
        row = DeploymentSum.objects.select_for_update().get(pk=deployment)
    return row, new


def refresh(deployment: Deployment) -> None:
    """Sum a deployment up anew, from its sequences and the identifications that stand."""
    zone = deployment.site.reserve.zone
    with transaction.atomic():
        row, _ = _held(deployment.pk)
        mine = Sequence.objects.filter(deployment=deployment)
        rows = read(mine)
        DaySum.objects.filter(deployment=deployment).delete()
        DaySum.objects.bulk_create(count_days(deployment.pk, rows, _said(mine), zone), batch_size=500)
        row.first_at = _instant(rows.starts.min()) if len(rows.starts) else None
        row.last_at = _instant(rows.ends.max()) if len(rows.ends) else None
        row.zone = zone if len(rows.starts) else ""
        row.dirty = False
        row.times = new_revision()
        rests = rests_on([deployment], zone)[deployment.pk]
        row.line_key = rests.key(row.times)
        row.line = as_text(*rests.work_out(rows.times))
        _add_up(row)


def refresh_days(deployment: Deployment, instants: Iterable[datetime]) -> None:
    """Sum up the days of a deployment on which these sequences begin, of which other things were said."""
    zone = deployment.site.reserve.zone
    with transaction.atomic():
        row, new = _held(deployment.pk)
        if new or row.dirty or row.zone not in ("", zone):  # to be counted whole; the worker comes by for that
            DeploymentSum.objects.filter(pk=row.pk).update(revision=new_revision())
            return
        mine = Sequence.objects.filter(deployment=deployment)
        for day in sorted({clock.local(at, zone).date() for at in instants}):
            low, high = (datetime.combine(d, time(0), clock.zone(zone)) for d in (day, day + timedelta(days=1)))
            those = mine.filter(start_at__gte=low, start_at__lt=high)
            DaySum.objects.filter(deployment=deployment, day=day).delete()
            DaySum.objects.bulk_create(count_days(deployment.pk, read(those), _said(those), zone))
        _add_up(row)


def refresh_sequences(sequences: Iterable[int]) -> None:
    """Sum up the days of these sequences, of which other things were said."""
    numbers = list(sequences)
    at: dict[int, list[datetime]] = {}
    for start in range(0, len(numbers), 500):
        rows = (
            Sequence.objects.filter(pk__in=numbers[start : start + 500]).order_by().values_list("deployment", "start_at")
        )
        for deployment, when in rows:
            at.setdefault(deployment, []).append(when)
    for one in Deployment.objects.filter(pk__in=list(at)).select_related("site__reserve").order_by("pk"):
        if len({when.date() for when in at[one.pk]}) > MANY_DAYS:
            refresh(one)
        else:
            refresh_days(one, at[one.pk])


def _add_up(row: DeploymentSum) -> None:
    added = DaySum.objects.filter(deployment=row.pk).order_by().aggregate(**{name: Sum(name) for name in COUNTS})
    for name in COUNTS:
        setattr(row, name, added[name] or 0)
    row.revision = new_revision()
    row.save()


def look_round() -> int:
    """Sum up what is dirty or was never summed, and work out lines that rest on visits changed since. Returns how
    many deployments that were; for the worker."""
    done = 0
    for reserve in Reserve.objects.order_by("id"):
        mine = Deployment.objects.filter(site__reserve=reserve).select_related("site__reserve").order_by("pk")
        sound = DeploymentSum.objects.filter(trusted(reserve.zone)).values("pk")
        for one in mine.exclude(pk__in=sound):
            refresh(one)
            done += 1
        every = list(mine)
        rests, rows = rests_on(every, reserve.zone), kept([one.pk for one in every], reserve.zone)
        for one in every:
            row = rows.get(one.pk)
            if row is not None and row.line_key != (key := rests[one.pk].key(row.times)):
                line = as_text(*rests[one.pk].work_out(read(Sequence.objects.filter(deployment=one)).times))
                DeploymentSum.objects.filter(pk=one.pk, times=row.times).update(line=line, line_key=key)
                done += 1
    return done


# When a camera watched --------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Rests:
    """What a camera's watched time rests on, beside the times of its sequences."""

    start: datetime
    end: datetime | None
    time_lapse_h: float | None
    home: datetime | None
    came: tuple[Came, ...]
    zone: str

    def key(self, times: str) -> str:
        """The same as long as nothing of it changed. times : the sequences' own."""
        instants = [at and at.astimezone(UTC).isoformat() for at in (self.start, self.end, self.home)]
        came = sorted((c.at.astimezone(UTC).isoformat(), str(c.arrival), c.card_out) for c in self.came)
        told = repr((times, instants, self.time_lapse_h, came, self.zone))
        return hashlib.sha256(told.encode()).hexdigest()[:32]

    def work_out(self, times: watched.Times) -> tuple[float | None, Timeline | None]:
        """Up to when it is known what the camera did, and when it watched until then."""
        last_s = float(times.ends.max()) if len(times.ends) else None
        known_s = watched.known_to(end=self.end, home=self.home, visits=self.came, last_s=last_s)
        if known_s is None:
            return None, None
        return known_s, watched.line(
            start=self.start,
            known_s=known_s,
            times=times,
            time_lapse_h=self.time_lapse_h,
            visits=self.came,
            zone=self.zone,
        )


def line_of(number: int, rests: Rests, row: Any, text: str) -> tuple[float | None, Timeline | None]:
    """A deployment's watched time: as it is kept, or from its sequences where what it rests on changed since.

    row : its sums. text : its line as it is kept.
    """
    if text and row.line_key == rests.key(row.times):
        return from_text(text)
    return rests.work_out(read(Sequence.objects.filter(deployment=number)).times)


def lines(deployments: Iterable[int]) -> dict[int, str]:
    """The lines that are kept of these deployments; one query."""
    numbers = list(deployments)
    rows = DeploymentSum.objects.filter(deployment__in=numbers) if len(numbers) <= 500 else DeploymentSum.objects
    return dict(rows.values_list("pk", "line"))


def rests_on(deployments: Iterable[Deployment], zone: str) -> dict[int, Rests]:
    """What the watched time of these deployments rests on, by their number; two queries."""
    every = list(deployments)
    numbers = [one.pk for one in every]
    came: dict[int, list[Came]] = {}
    for deployment, at, arrival, card_out in (
        Visit.objects.filter(deployment__in=numbers)
        .order_by("at", "uuid")
        .values_list("deployment", "at", "arrival", "card_out")
    ):
        came.setdefault(deployment, []).append(Came(at=at, arrival=arrival, card_out=card_out is not None))
    homes = dict(
        Import.objects.filter(deployment__in=numbers, state=Import.State.WHOLE)
        .order_by()
        .values("deployment")
        .annotate(home=Max("started_at"))
        .values_list("deployment", "home")
    )
    return {
        one.pk: Rests(
            start=one.start,
            end=one.end,
            time_lapse_h=one.time_lapse_h,
            home=homes.get(one.pk),
            came=tuple(came.get(one.pk, ())),
            zone=zone,
        )
        for one in every
    }


def as_text(known_s: float | None, line: Timeline | None) -> str:
    """A watched time as it is kept."""
    if line is None:
        return json.dumps([known_s, None])
    watching = [[i.from_s, i.to_s] for i in line.watched]
    gaps, doubts = ([[g.from_s, g.to_s, g.reason, g.chance] for g in of] for of in (line.gaps, line.doubts))
    return json.dumps([known_s, [line.start_s, line.end_s, watching, gaps, doubts, line.outside]])


def from_text(text: str) -> tuple[float | None, Timeline | None]:
    """A watched time that was kept."""
    known_s, told = json.loads(text)
    if told is None:
        return known_s, None
    start_s, end_s, watching, gaps, doubts, outside = told
    return known_s, Timeline(
        start_s=start_s,
        end_s=end_s,
        watched=tuple(Interval(from_s=a, to_s=b) for a, b in watching),
        gaps=tuple(Gap(from_s=a, to_s=b, reason=why, chance=chance) for a, b, why, chance in gaps),
        doubts=tuple(Gap(from_s=a, to_s=b, reason=why, chance=chance) for a, b, why, chance in doubts),
        outside=outside,
    )


def _instant(at_s: float) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=round(float(at_s) * 1000))
