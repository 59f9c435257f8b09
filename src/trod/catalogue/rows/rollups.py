"""Daily sums of sequences and identifications, kept true by whoever changes them.

An import, a corrected clock, a moved card and a rebuild sum their deployments up anew; an identification and its undo
sum up their day. All of it in the transaction of the change itself. Whoever changes sequences in another way marks the
deployment dirty, by the rows' own manager: then it is counted afresh, until the worker comes by and sums it up.
"""

from __future__ import annotations

import json
from collections import abc
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np
from django.db import connection, transaction
from django.db.models import BigIntegerField, Count, Func, Q, QuerySet, Sum
from numpy.typing import NDArray

from trod import clock
from trod.catalogue.models import (
    DaySum,
    Deployment,
    DeploymentSum,
    Observation,
    Reserve,
    Sequence,
)
from trod.catalogue.models.sums import COUNTS, new_revision
from trod.catalogue.rows import watched
from trod.catalogue.rows.watched import Rests, rests_on
from trod.findings.watching import Interval, Stretch, Watching

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

    numbers: NDArray[np.int64]
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
        .values_list("pk", "s", "e", "frames", "time_lapse", "infrared", "identification_id")
    )
    columns = list(zip(*found, strict=True)) if found else [()] * 7
    return Rows(
        numbers=np.array(columns[0], dtype=np.int64),
        starts=np.array(columns[1], dtype=np.float64) / 1000.0,
        ends=np.array(columns[2], dtype=np.float64) / 1000.0,
        frames=np.array(columns[3], dtype=np.int64),
        lapse=np.array(columns[4], dtype=bool),
        dark=np.array([-1 if dark is None else int(dark) for dark in columns[5]], dtype=np.int64),
        word=np.array([word or 0 for word in columns[6]], dtype=np.int64),
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
        row.line = as_text(*work_out(deployment.pk, rests, rows))
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
    """Sum up what is dirty or was never summed, and work out lines that rest on visits changed since.

    Returns how many deployments that were; for the worker.
    """
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
            done += row is not None and _renew(one.pk, rests[one.pk], row)
    return done


def renew_line(one: Deployment) -> None:
    """Work the kept line of a deployment out anew, if what it rests on changed; its counts stay."""
    zone = one.site.reserve.zone
    row = kept([one.pk], zone).get(one.pk)
    if row is not None:
        _renew(one.pk, rests_on([one], zone)[one.pk], row)


def _renew(number: int, rests: Rests, row: Any) -> bool:
    """Returns whether the line had changed. row : the deployment's sums."""
    key = rests.key(row.times)
    if row.line_key == key:
        return False
    line = as_text(*work_out(number, rests))
    DeploymentSum.objects.filter(pk=number, times=row.times).update(line=line, line_key=key)
    return True


# When a camera watched --------------------------------------------------------------------------------------


def work_out(number: int, rests: Rests, rows: Rows | None = None) -> tuple[float | None, Watching | None]:
    """When a deployment's camera watched, from its sequences. rows : these, where they are read already."""
    rows = read(Sequence.objects.filter(deployment=number)) if rows is None else rows
    return rests.work_out(watched.proving(rows.times, rows.numbers.tolist(), watched.own_times({number: rests})))


def is_kept(rests: Rests, row: Any, text: str) -> bool:
    """Whether a watched time that is kept is still true. row : the deployment's sums. text : its line as it is kept."""
    return bool(text) and row.line_key == rests.key(row.times)


def line_of(number: int, rests: Rests, row: Any, text: str) -> tuple[float | None, Watching | None]:
    """A deployment's watched time: as it is kept, or from its sequences where what it rests on changed since.

    row : its sums. text : its line as it is kept.
    """
    if is_kept(rests, row, text):
        return from_text(text)
    return work_out(number, rests)


def lines(deployments: Iterable[int]) -> dict[int, str]:
    """The lines that are kept of these deployments; one query."""
    numbers = list(deployments)
    rows = DeploymentSum.objects.filter(deployment__in=numbers) if len(numbers) <= 500 else DeploymentSum.objects
    return dict(rows.values_list("pk", "line"))


def as_text(known_s: float | None, line: Watching | None) -> str:
    """A watched time as it is kept."""
    if line is None:
        return json.dumps([known_s, None])
    watched = [[i.from_s, i.to_s] for i in line.watched]
    lost, open_ = (
        [[g.from_s, g.to_s, g.reason, g.likely and [g.likely.from_s, g.likely.to_s], g.chance] for g in of]
        for of in (line.lost, line.open)
    )
    return json.dumps([known_s, [line.start_s, line.end_s, watched, lost, open_, line.outside, line.refuted]])


def from_text(text: str) -> tuple[float | None, Watching | None]:
    """A watched time that was kept."""
    known_s, told = json.loads(text)
    if told is None:
        return known_s, None
    start_s, end_s, watched, lost, open_, outside, refuted = told
    return known_s, Watching(
        start_s=start_s,
        end_s=end_s,
        watched=tuple(Interval(from_s=a, to_s=b) for a, b in watched),
        lost=tuple(_stretch(*one) for one in lost),
        open=tuple(_stretch(*one) for one in open_),
        outside=outside,
        refuted=tuple(refuted),
    )


def _stretch(from_s: float, to_s: float, reason: Any, likely: list[float] | None, chance: float | None) -> Stretch:
    near = Interval(from_s=likely[0], to_s=likely[1]) if likely else None
    return Stretch(from_s=from_s, to_s=to_s, reason=reason, likely=near, chance=chance)


def _instant(at_s: float) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=round(float(at_s) * 1000))
