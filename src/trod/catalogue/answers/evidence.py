"""From rows to evidence: what the catalogue knows, as the findings want it.

A fixed number of queries, whatever the number of pictures. What belongs to one deployment is kept in memory
and read again only when its own rows changed, so that a page costs the same for a thousand sequences or a
hundred thousand. Nothing in the evidence depends on a row's number: a rebuilt catalogue gives the same to the
last digit.
"""

from __future__ import annotations

import hashlib
import re
import threading
import weakref
from collections.abc import Callable, Mapping
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import BigIntegerField, Count, F, Max, Min, Q, QuerySet, Sum
from django.db.models.functions import Cast

from trod.catalogue import models
from trod.catalogue.rows import rollups, watched
from trod.catalogue.rows.rollups import Millis
from trod.catalogue.rows.watched import Rests
from trod.findings import Deployment as Stood
from trod.findings import Evidence, Gap, Observation, Reserve, Site, UnseenSequence, line_ups
from trod.findings.line_ups import SetUp
from trod.findings.taxa import Taxon
from trod.findings.watching import Watching

MOST_KEPT = 5000  # deployments held in memory
LONG = 20_000  # sequences that are read while somebody waits, in a third of a second
_SHA = re.compile(r"[0-9a-f]{64}\Z")
_kept: dict[int, tuple[Any, Piece]] = {}
_last: dict[int, tuple[Any, Account]] = {}  # by thread, as long as nobody wrote anything at all
_whole: dict[int, Account] = {}  # by reserve, as long as its stamp is the same
_lock = threading.Lock()
in_a_hurry: ContextVar[bool] = ContextVar("in_a_hurry", default=False)  # somebody waits: see `StillReading`


class StillReading(Exception):
    """So many sequences are to be read or counted first that a page in a hurry does not wait for them.

    Never shown as an error. todo : what is to be done, without the database; None: they are to be read.
    """

    def __init__(self, sequences: int, todo: Callable[[], Any] | None = None) -> None:
        super().__init__(f"{sequences} sequences are to be read first")
        self.sequences, self.todo = sequences, todo


def leave_if_long(account: Account, todo: Callable[[], Any]) -> None:
    """Raise StillReading when somebody waits and what is to be done goes over a large record."""
    many = len(account.evidence.observations) + len(account.evidence.unseen)
    if in_a_hurry.get() and many > LONG:
        raise StillReading(many, todo)


@dataclass(frozen=True, kw_only=True)
class Piece:
    """What one deployment gives. line : its watched time; None when none of its pictures is at home."""

    observations: tuple[Observation, ...] = ()
    unseen: tuple[UnseenSequence, ...] = ()
    line: Watching | None = None
    known_to_s: float | None = None
    sequences: int = 0


@dataclass(frozen=True, kw_only=True)
class Account:
    """The evidence, and what stands behind it.

    pieces : by the deployment's slug. stamp : the same as long as nothing in the evidence changes.
    """

    evidence: Evidence
    pieces: Mapping[str, Piece]
    stamp: str

    @property
    def not_home(self) -> tuple[str, ...]:
        """Slugs of deployments of which no picture has come home."""
        return tuple(slug for slug, piece in self.pieces.items() if piece.line is None)


def evidence(reserve: models.Reserve) -> Evidence:
    """All that the catalogue knows of a reserve; `Filter` narrows it afterwards."""
    return gather(reserve).evidence


def forget() -> None:
    """Drop what is held in memory."""
    with _lock:
        _kept.clear()
        _last.clear()
        _whole.clear()


def unchanged() -> tuple[Any, ...] | None:
    """A mark that is the same as long as nobody wrote anything at all; None where there is no such mark.

    SQLite counts the commits of others (PRAGMA data_version) and the changes of one's own connection. PostgreSQL tells
    its snapshot: up to which transaction all have ended, and which are under way; two snapshots that are the same see
    the same rows, whoever writes (PostgreSQL's manual, "Transaction ID and Snapshot Information Functions"). A stand-by
    server does not tell which are under way, so there is no mark there.
    Inside a transaction, which may be rolled back, none of it can be trusted.
    """
    if connection.vendor not in ("sqlite", "postgresql") or connection.in_atomic_block:
        return None
    connection.ensure_connection()
    own = connection.connection
    if connection.vendor == "sqlite":
        version = own.execute("PRAGMA data_version").fetchone()[0]
        return (own, version, own.total_changes)  # the connection itself: a later one may have the same version
    with connection.cursor() as cursor:
        cursor.execute("SELECT CASE WHEN NOT pg_is_in_recovery() THEN pg_current_snapshot()::text END")
        snapshot = cursor.fetchone()[0]
    # The connection too: a server that broke down may give the number of a transaction that was lost to another one.
    # Only a sign of it, which keeps no connection of an ended thread open.
    return None if snapshot is None else (weakref.ref(own), snapshot)


@dataclass(frozen=True, kw_only=True)
class _Stands:
    pk: int
    start: datetime
    end: datetime | None
    time_lapse_h: float | None


@dataclass(frozen=True, kw_only=True)
class _Row:
    """A deployment as it is read here."""

    pk: int
    slug: str
    camera: str
    site: str
    rests: Rests
    totals: tuple[Any, ...]
    set_up: SetUp
    sums: Any = None


def gather(reserve: models.Reserve) -> Account:
    """The evidence with its deployments' pieces and its stamp, in at most 14 queries.

    In none (PostgreSQL: one) when nobody has written anything since it was last asked for.
    """
    mark = unchanged()
    of = threading.get_ident()
    held = _last.get(of)
    if mark is not None and held is not None and held[0] == (mark, reserve.pk):
        return held[1]
    account = _gather(reserve)
    if mark is not None and mark == unchanged():
        with _lock:
            if len(_last) > 64:
                _last.clear()
            _last[of] = ((mark, reserve.pk), account)
    return account


def _gather(reserve: models.Reserve) -> Account:
    kinds = list(models.Species.objects.order_by("slug").select_related("parent"))
    species = {row.pk: (row.slug, row.said_name) for row in kinds}
    taxa = tuple(
        Taxon(
            key=row.slug,
            name=row.name,
            rank=row.rank,
            scientific_name=row.scientific_name,
            parent=row.parent.slug if row.parent else "",
        )
        for row in kinds
    )
    sites = tuple(
        Site(
            slug=slug,
            name=name,
            latitude_deg=latitude,
            longitude_deg=longitude,
            feature=models.Site.Feature(feature).label if feature in models.Site.Feature.values else feature,
            sensitive=sensitive,
        )
        for slug, name, latitude, longitude, feature, sensitive in models.Site.objects.filter(reserve=reserve)
        .order_by("slug")
        .values_list("slug", "name", "latitude", "longitude", "feature", "sensitive")
    )
    rows = _deployments(reserve)
    names = tuple(sorted(species.items()))
    own = Reserve(
        name=reserve.name,
        latitude_deg=reserve.latitude,
        longitude_deg=reserve.longitude,
        zone=reserve.zone,
        yearly_allowance=reserve.yearly_allowance,
    )
    in_time = sorted(rows, key=lambda row: (row.rests.start, row.slug))
    how = dict(zip((row.slug for row in in_time), line_ups.names([row.set_up for row in in_time]), strict=True))
    told = repr((own, sites, names, taxa, how, [_key(row, names, reserve.zone) for row in rows]))
    stamp = hashlib.sha256(told.encode()).hexdigest()[:20]
    with _lock:
        held = _whole.get(reserve.pk)
    if held is not None and held.stamp == stamp:  # putting a million sequences side by side takes its time
        return held
    pieces = _pieces(rows, species, names, reserve.zone)
    made = Account(
        evidence=Evidence(
            reserve=own,
            sites=sites,
            deployments=tuple(_stood(row, pieces[row.slug], how[row.slug]) for row in rows),
            observations=tuple(s for row in rows for s in pieces[row.slug].observations),
            unseen=tuple(u for row in rows for u in pieces[row.slug].unseen),
            taxa=taxa,
        ),
        pieces=pieces,
        stamp=stamp,
    )
    with _lock:
        if len(_whole) > 4:
            _whole.clear()
        _whole[reserve.pk] = made
    return made


def _deployments(reserve: models.Reserve) -> list[_Row]:
    """Deployments by slug, each with what its watched time rests on and totals that show whether sequences changed.

    That is the revision of its kept sums, where they can be trusted.
    """
    own = list(
        models.Deployment.objects.filter(site__reserve=reserve)
        .order_by("slug")
        .values_list(
            "pk",
            "slug",
            "start",
            "end",
            "time_lapse_h",
            "camera__name",
            "camera__serial",
            "site__slug",
            "camera__model__slug",
            "mode",
            "delay_s",
            "sensitivity",
            "heading_deg",
            "height_m",
        )
    )
    kept = rollups.kept((row[0] for row in own), reserve.zone)
    totals: dict[int, tuple[Any, ...]] = {pk: ("kept", row.revision) for pk, row in kept.items()}
    if len(kept) < len(own):
        totals |= _counted([row[0] for row in own if row[0] not in kept])
    bare = [_Stands(pk=row[0], start=row[2], end=row[3], time_lapse_h=row[4]) for row in own]
    rests = watched.rests_on(bare, reserve.zone)
    return [
        _Row(
            pk=pk,
            slug=slug,
            camera=f"{camera} ({serial})" if camera else serial,
            site=site,
            rests=rests[pk],
            totals=totals.get(pk, ()),
            set_up=SetUp(
                site=site,
                model=model or f"serial {serial}",
                settings=f"{mode} {delay_s:g} {sensitivity}",
                heading_deg=heading_deg,
                height_m=height_m,
            ),
            sums=kept.get(pk),
        )
        for (
            pk,
            slug,
            _start,
            _end,
            _time_lapse_h,
            camera,
            serial,
            site,
            model,
            mode,
            delay_s,
            sensitivity,
            heading_deg,
            height_m,
        ) in own
    ]


def _counted(numbers: list[int]) -> dict[int, tuple[Any, ...]]:
    """What shows whether the sequences of these deployments changed: a grouped query over all of them."""
    return {
        row[0]: row[1:]
        for row in models.Sequence.objects.filter(deployment__in=numbers)
        .order_by()
        .values("deployment")
        .annotate(
            n=Count("id"),
            last=Max("id"),
            first_at=Min("start_at"),
            last_at=Max("end_at"),
            begun=Sum(Millis("start_at")),
            ended=Sum(Millis("end_at")),
            frames_all=Sum("frames"),
            lapse=Count("id", filter=Q(time_lapse=True)),
            said=Count("identification"),
            # Which word stands at which sequence: the sum changes with any exchange.
            pairs=Sum(Cast(F("identification_id"), BigIntegerField()) * Cast(F("id"), BigIntegerField())),
            lowest=Min("key"),
            highest=Max("key"),
        )
        .values_list(
            "deployment",
            "n",
            "last",
            "first_at",
            "last_at",
            "begun",
            "ended",
            "frames_all",
            "lapse",
            "said",
            "pairs",
            "lowest",
            "highest",
        )
    }


def _key(row: _Row, names: Any, zone: str) -> tuple[Any, ...]:
    return (row.slug, row.rests, row.camera, row.site, row.totals, names, zone)


def _pieces(rows: list[_Row], species: Mapping[int, tuple[str, str]], names: Any, zone: str) -> dict[str, Piece]:
    """Every deployment's piece: from memory where nothing changed, the others read in two queries."""
    wanted = {row.pk: _key(row, names, zone) for row in rows}
    with _lock:
        had = {pk: _kept[pk][1] for pk, key in wanted.items() if pk in _kept and _kept[pk][0] == key}
    stale = [row for row in rows if row.pk not in had]
    if stale:
        if in_a_hurry.get() and (many := sum(_sequences(row) for row in stale)) > LONG:
            raise StillReading(many)
        made = _read(stale, species, zone)
        with _lock:
            if len(_kept) + len(made) > MOST_KEPT:
                _kept.clear()
            _kept.update({pk: (wanted[pk], piece) for pk, piece in made.items()})
        had.update(made)
    return {row.slug: had[row.pk] for row in rows}


def _sequences(row: _Row) -> int:
    """How many sequences a deployment has."""
    if row.sums is not None:
        return int(row.sums.sequences)
    return int(row.totals[0]) if row.totals else 0


def _read(rows: list[_Row], species: Mapping[int, tuple[str, str]], zone: str) -> dict[int, Piece]:
    by_pk = {row.pk: row for row in rows}
    everything = len(rows) > 500  # a list of numbers that long is slower than the whole table
    sequences: QuerySet[models.Sequence] = models.Sequence.objects.order_by("start_at", "key")
    if not everything:
        sequences = sequences.filter(deployment__in=list(by_pk))
    read: dict[int, list[Any]] = {}
    for row in sequences.values_list(
        "deployment", "pk", "key", "start_at", "end_at", "frames", "time_lapse", "identification"
    ):
        if row[0] in by_pk:
            read.setdefault(row[0], []).append(row[1:])
    said = models.Observation.objects.order_by()
    standing = models.Sequence.objects.filter(identification__isnull=False)
    if not everything:
        standing = standing.filter(deployment__in=list(by_pk))
    lines: dict[int, list[Any]] = {}
    for line in said.filter(identification__in=standing.order_by().values("identification")).values_list(
        "identification",
        "what",
        "species",
        "count",
        "sex",
        "life_stage",
        "identification__by",
        "identification__reached",
    ):
        lines.setdefault(line[0], []).append(line[1:])
    texts = rollups.lines(by_pk)
    sound = {pk for pk, row in by_pk.items() if row.sums is not None and rollups.is_kept(row.rests, row.sums, texts[pk])}
    own = watched.own_times({pk: row.rests for pk, row in by_pk.items() if pk not in sound})
    return {
        pk: _piece(row, read.get(pk, []), lines, species, texts[pk] if pk in sound else "", own)
        for pk, row in by_pk.items()
    }


def _piece(
    row: _Row,
    sequences: list[Any],
    lines: Mapping[int, list[Any]],
    species: Mapping[int, tuple[str, str]],
    text: str,
    own: Mapping[int, tuple[float, float]],
) -> Piece:
    """text : its watched time as it is kept, if it can be trusted. own : see `watched.own_times`."""
    observations, unseen, numbers, starts, ends, lapse = [], [], [], [], [], []
    for number, key, start_at, end_at, frames, time_lapse, identification in sequences:
        start_s, end_s = start_at.timestamp(), end_at.timestamp()
        numbers.append(number)
        starts.append(start_s)
        ends.append(end_s)
        lapse.append(time_lapse)
        if time_lapse:  # proof that the camera worked, not a detection
            continue
        if identification is None:
            unseen.append(UnseenSequence(sequence=key, site=row.site, utc_s=start_s))
            continue
        for what, of, count, sex, life_stage, by, reached in lines.get(identification, ()):
            slug, name = species.get(of, ("", "")) if of is not None else ("", "")
            observations.append(
                Observation(
                    sequence=key,
                    deployment=row.slug,
                    site=row.site,
                    utc_s=start_s,
                    end_s=end_s,
                    what=what,
                    species=slug,
                    species_name=name,
                    count=count,
                    sex=sex,
                    life_stage=life_stage,
                    said_by=by,
                    picture=first_picture(key),
                    pictures=frames,
                    reached=reached,
                )
            )
    observations.sort(key=lambda s: (s.utc_s, s.sequence, s.what, s.species, s.sex, s.life_stage, s.count, s.said_by))
    if text:
        known, line = rollups.from_text(text)
    else:
        times = watched.Times(
            starts=np.array(starts, dtype=float), ends=np.array(ends, dtype=float), lapse=np.array(lapse, dtype=bool)
        )
        known, line = row.rests.work_out(watched.proving(times, numbers, own))
    return Piece(
        observations=tuple(observations),
        unseen=tuple(unseen),
        line=line,
        known_to_s=known,
        sequences=len(starts) - sum(lapse),
    )


def first_picture(sequence_key: str) -> str:
    """The SHA-256 of a sequence's first picture, which ends its key; '' when it does not."""
    found = _SHA.search(sequence_key)
    return found[0] if found else ""


def _stood(row: _Row, piece: Piece, line_up: str) -> Stood:
    line = piece.line
    if line is None:
        return Stood(slug=row.slug, site=row.site, camera=row.camera, line_up=line_up)
    return Stood(
        slug=row.slug,
        site=row.site,
        camera=row.camera,
        line_up=line_up,
        watched=tuple((i.from_s, i.to_s) for i in line.counted),
        open=tuple(Gap(start_s=g.from_s, end_s=g.to_s, reason=g.reason) for g in line.open),
        gaps=tuple(Gap(start_s=g.from_s, end_s=g.to_s, reason=g.reason) for g in line.lost),
    )
