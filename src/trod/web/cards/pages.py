"""What the Cards pages show, as records; nothing here changes anything."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from django.core.paginator import Page, Paginator
from django.db import connection
from django.db.models import Count, Exists, Max, Min, OuterRef, Q

from trod.archive.card import MountedCard
from trod.archive.verdict import Verdict
from trod.catalogue.answers.summary import seconds
from trod.catalogue.imports import clocks, facts, moving
from trod.catalogue.models import Deployment, Import, Job, Picture, RecordImport, Sequence, Visit
from trod.catalogue.work.backup import last as last_backup
from trod.findings.watching import Watching
from trod.pictures.sequences import BURST_GAP_S, sentence
from trod.telling import file_facts
from trod.units import System
from trod.web.shared import silences
from trod.web.shared.clock_lines import ClockLine, clock_lines

A_PAGE = 20
STRIP = 12
# A run of false triggers: an hour with at least so many pictures, and so many times what an hour with any usually
# holds. Ours.
FALSE_RUN_LEAST, FALSE_RUN_TIMES, MOST_FALSE_RUNS = 30, 5.0, 4
WORK = ("import", "place", "records", "records-undo", "facts", "verify", "backup", "thumbnails")


@dataclass(frozen=True)
class Plugged:
    """One mounted card, and what is known of it without reading it."""

    card: MountedCard
    before: Import | None
    unfinished: Import | None

    @property
    def used(self) -> int | None:
        """Bytes on it; not known of a folder that is no disk of its own."""
        return self.card.total_bytes - self.card.free_bytes if self.card.path.is_mount() else None


@dataclass(frozen=True)
class CardsPage:
    """The whole page."""

    plugged: list[Plugged]
    waiting: list[Visit]
    work: list[Job]
    imports: Page[Import]
    unplaced: int
    last_verify: Job | None
    last_backup: tuple[datetime, str] | None


def gather(plugged: list[MountedCard], page: str) -> CardsPage:
    """All of the page, with a number of queries that does not grow with the catalogue."""
    sources = [str(c.path.resolve()) for c in plugged]
    latest: dict[str, Import] = {}
    for row in Import.objects.filter(source__in=sources).order_by("started_at"):
        latest[row.source] = row
    whole = Import.State.WHOLE
    cards = []
    for card, source in zip(plugged, sources, strict=True):
        found = latest.get(source)
        done = found is not None and found.state == whole
        cards.append(Plugged(card, found if done else None, None if done else found))
    waiting = list(
        Visit.objects.filter(card_out__isnull=False, deployment__isnull=False)
        .exclude(Exists(Import.objects.filter(deployment=OuterRef("deployment"), card=OuterRef("card_out"))))
        .filter(card_out__state__in=["home", "out"])
        .select_related("card_out", "site", "deployment__camera")
        .order_by("-at")[:12]
    )
    records = RecordImport.objects.values("bag")
    imports = Import.objects.select_related("deployment__site", "deployment__camera", "card").exclude(name__in=records)
    return CardsPage(
        plugged=cards,
        waiting=waiting,
        work=list(
            Job.objects.filter(kind__in=WORK, state__in=["waiting", "running", "paused", "failed"]).order_by("-id")[:5]
        ),
        imports=Paginator(imports, A_PAGE).get_page(page),
        unplaced=Import.objects.filter(deployment__isnull=True, state=whole, new__gt=0)
        .exclude(name__in=records)
        .count(),
        last_verify=Job.objects.filter(kind="verify", state="done").order_by("-id").first(),
        last_backup=last_backup(),
    )


# One import -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class FalseRun:
    """A stretch with far more pictures than usual."""

    start: datetime
    end: datetime
    pictures: int
    daylight: bool
    covers: tuple[str, ...]

    @property
    def cause(self) -> str:
        if self.daylight:
            return "Perhaps wind: grass or branches moving in warm light. Or animals that stayed; look at its pictures."
        return "Perhaps animals that stayed, or something that moved close to the lens. Look at its pictures."


@dataclass(frozen=True)
class Step:
    """One step of an import. state: done, now or next."""

    label: str
    state: str
    detail: str = ""


@dataclass(frozen=True)
class LastMove:
    """The last move of a card, as a page tells it. can_go_back : whether the place it came from is still there."""

    at: datetime
    by: str
    came_from: str
    went_to: str
    can_go_back: bool


@dataclass(frozen=True)
class ImportPage:
    """The page of one import."""

    card_import: Import
    job: Job | None
    steps: list[Step]
    strip: list[Picture]
    pages: Page[Picture] | None
    false_runs: list[FalseRun]
    gaps: list[tuple[datetime, datetime, str]]
    silences: dict[str, Any] | None
    clocks: list[clocks.ClockProposal]
    clock_lines: list[ClockLine]
    damaged: list[Picture]
    foreign: list[Picture]
    sequences: int
    unseen: int
    first_at: datetime | None
    last_at: datetime | None
    rule: str
    backed_up: bool
    verdict: Verdict
    unread: int = 0
    choices: list[Deployment] = field(default_factory=list)
    cargo: moving.Cargo | None = None
    moved: LastMove | None = None
    files_say: list[str] = field(default_factory=list)
    another_camera: str = ""

    @property
    def wrong(self) -> bool:
        return bool(
            self.false_runs
            or self.gaps
            or self.clocks
            or self.clock_lines
            or self.damaged
            or self.foreign
            or self.another_camera
        )


def job_of(name: str) -> Job | None:
    """The last piece of work on an import."""
    return Job.objects.filter(kind__in=("import", "place"), args__card_import=name).order_by("-id").first()


def card_import_page(card_import: Import, page: str | None, *, system: System) -> ImportPage:
    """All of one import's page. A card may hold tens of thousands of pictures, so the database adds up."""
    job = job_of(card_import.name)
    pictures = card_import.pictures.order_by("file_order")
    whole = card_import.state == Import.State.WHOLE
    many = _counts(card_import)
    unread = many["unread"] if whole else 0
    hours = hours_of(card_import) if card_import.deployment_id else []
    ready = whole and not unread
    found = silences.line_of(card_import.deployment) if ready and card_import.deployment else None
    backup = last_backup()
    proposed = clocks.proposals(card_import.deployment) if ready and card_import.deployment else []
    return ImportPage(
        card_import=card_import,
        job=job,
        steps=_steps(card_import, job, unread),
        strip=_strip(card_import, hours),
        pages=Paginator(pictures, 60).get_page(page) if page else None,
        false_runs=false_runs(hours, card_import.deployment) if ready else [],
        gaps=_gaps(found, many["first"], many["last"]),
        silences=silences.open_ones(card_import.deployment, found) if card_import.deployment else None,
        clocks=proposed,
        clock_lines=clock_lines(card_import) if ready and not proposed else [],
        damaged=list(pictures.exclude(problem="")[:60]) if many["damaged"] else [],
        foreign=list(pictures.filter(foreign=True)[:STRIP]) if many["strangers"] else [],
        sequences=sum(hour.sequences for hour in hours),
        unseen=sum(hour.unseen for hour in hours),
        first_at=many["first"],
        last_at=many["last"],
        rule=sentence(BURST_GAP_S),
        backed_up=backup is not None and card_import.finished_at is not None and backup[0] > card_import.finished_at,
        verdict=card_import.verdict,
        unread=unread,
        choices=_choices(card_import) if whole else [],
        cargo=moving.cargo(card_import) if whole and card_import.deployment_id else None,
        moved=_last_move(card_import),
        files_say=file_facts.sentences(facts.what_files_say(card_import), system) if whole else [],
        another_camera=facts.another_camera(card_import) if ready else "",
    )


def _last_move(card_import: Import) -> LastMove | None:
    if not card_import.moves:
        return None
    last = card_import.moves[-1]
    names = dict(Deployment.objects.filter(slug__in=[last["from"], last["to"]]).values_list("slug", "site__name"))
    came_from, went_to = (names.get(slug, slug) if slug else "unplaced" for slug in (last["from"], last["to"]))
    can, _ = moving.back_to(card_import)
    return LastMove(datetime.fromisoformat(last["at"]), last["by"], came_from, went_to, can)


def _counts(card_import: Import) -> dict[str, Any]:
    own = Q(foreign=False)
    return card_import.pictures.aggregate(
        unread=Count("pk", filter=Q(looked=False)),
        strangers=Count("pk", filter=Q(foreign=True)),
        damaged=Count("pk", filter=~Q(problem="")),
        first=Min("taken_at", filter=own),
        last=Max("taken_at", filter=own),
    )


@dataclass(frozen=True)
class Hour:
    """The sequences of one import that began in one hour. number : hours since 1970. start, end : Unix seconds.

    pictures, by_night : without time-lapse frames; the second those by infrared. unseen : sequences.
    """

    number: int
    pictures: int
    by_night: int
    start_s: float
    end_s: float
    sequences: int
    unseen: int


def hours_of(card_import: Import) -> list[Hour]:
    """An import's sequences added up by the hour, in order, in one query."""
    start, end = seconds("start_at"), seconds("end_at")
    hour = f"CAST({start} / 3600.0 AS integer)" if connection.vendor == "sqlite" else f"FLOOR({start} / 3600)::int"
    with connection.cursor() as cursor:
        cursor.execute(
            f"""
            SELECT {hour}, SUM(CASE WHEN time_lapse THEN 0 ELSE frames END),
                   SUM(CASE WHEN infrared AND NOT time_lapse THEN frames ELSE 0 END),
                   MIN({start}), MAX({end}), COUNT(*),
                   SUM(CASE WHEN identification_id IS NULL AND NOT time_lapse THEN 1 ELSE 0 END)
            FROM trod_sequence
            WHERE id IN (SELECT sequence_id FROM trod_picture WHERE card_import_id = %s AND sequence_id IS NOT NULL)
            GROUP BY 1 ORDER BY 1
            """,  # noqa: S608 - columns and functions written here
            [card_import.pk],
        )
        return [Hour(*row) for row in cursor.fetchall()]


def _strip(card_import: Import, hours: list[Hour]) -> list[Picture]:
    """A picture from each of some hours, spread over the card; without sequences the first pictures."""
    step = max(1, -(-len(hours) // STRIP))
    wanted = Q()
    for hour in hours[::step][:STRIP]:
        begun = datetime.fromtimestamp(hour.start_s, UTC)
        wanted |= Q(start_at__range=(begun - timedelta(seconds=1), begun + timedelta(seconds=1)))
    if wanted:
        sequences = Sequence.objects.filter(wanted, deployment=card_import.deployment_id).select_related("cover")
        return [sequence.cover for sequence in sequences.order_by("start_at")[:STRIP] if sequence.cover]
    return list(card_import.pictures.filter(looked=True).exclude(width=None).order_by("file_order")[:STRIP])


def _steps(card_import: Import, job: Job | None, unread: int) -> list[Step]:
    whole = card_import.state == Import.State.WHOLE
    copied = "done" if whole else "now"
    detail = f"{card_import.new} new" if whole else ""
    if whole and card_import.duplicates:
        detail += f", {card_import.duplicates} kept before"
    read = "next" if not whole else "now" if unread else "done"
    parted = "done" if whole and not unread and (job is None or job.state == "done") else "next"
    return [
        Step("Copy and verify", copied, detail),
        Step("Read the pictures", read, f"{unread} to go" if whole and unread else ""),
        Step("Put sequences together", parted),
    ]


def false_runs(hours: list[Hour], deployment: Deployment | None) -> list[FalseRun]:
    """Hours in which far more pictures were taken than in this card's usual hour, neighbouring ones joined."""
    busy = [hour for hour in hours if hour.pictures]
    if not busy:
        return []
    limit = max(FALSE_RUN_LEAST, FALSE_RUN_TIMES * float(np.median([hour.pictures for hour in busy])))
    runs: list[list[Hour]] = []
    for hour in busy:
        if hour.pictures < limit:
            continue
        if not runs or hour.number - runs[-1][-1].number > 2:
            runs.append([])
        runs[-1].append(hour)
    runs = sorted(runs, key=lambda run: -sum(hour.pictures for hour in run))[:MOST_FALSE_RUNS]
    return [_false_run(run, deployment) for run in runs]


def _false_run(run: list[Hour], deployment: Deployment | None) -> FalseRun:
    start = datetime.fromtimestamp(min(hour.start_s for hour in run), UTC)
    end = datetime.fromtimestamp(max(hour.end_s for hour in run), UTC)
    pictures = sum(hour.pictures for hour in run)
    night = sum(hour.by_night for hour in run)
    covers: list[str] = []
    if deployment is not None:
        of = Sequence.objects.filter(
            deployment=deployment, start_at__gte=start - timedelta(seconds=1), start_at__lte=end
        )
        covers = [sha for sha in of.order_by("start_at").values_list("cover__sha256", flat=True)[:500] if sha]
    return FalseRun(start, end, pictures, night * 2 < pictures, tuple(covers[:: max(1, len(covers) // 4)][:4]))


def _gaps(found: Watching | None, first: datetime | None, last: datetime | None) -> list[tuple[datetime, datetime, str]]:
    """What the deployment did not watch about the time of this card."""
    if found is None or first is None or last is None:
        return []
    low, high = (first - timedelta(days=1)).timestamp(), (last + timedelta(days=60)).timestamp()
    return [
        (datetime.fromtimestamp(one.from_s, UTC), datetime.fromtimestamp(one.to_s, UTC), one.reason)
        for one in found.lost
        if one.to_s > low and one.from_s < high and one.days > 0.5
    ]


def _choices(card_import: Import) -> list[Deployment]:
    """Where it could lie instead."""
    if card_import.deployment_id is None and not card_import.new:
        return []
    others = Deployment.objects.select_related("site", "camera").order_by("site__name", "-start")
    if card_import.deployment_id is not None:
        others = others.exclude(pk=card_import.deployment_id)
    return list(others[:400])
