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
from trod.pictures.events import BURST_GAP_S, sentence
from trod.web.catalogue import moving, watch
from trod.web.catalogue.backup import last as last_backup
from trod.web.models import Deployment, Event, Intake, Job, Picture, Visit
from trod.web.today.summary import seconds, summaries

A_PAGE = 20
STRIP = 12
# A storm: an hour with at least so many pictures, and so many times what an hour with any usually
# holds. Ours.
STORM_LEAST, STORM_TIMES, MOST_STORMS = 30, 5.0, 4
WORK = ("take-in", "place", "facts", "verify", "backup", "thumbnails")


@dataclass(frozen=True)
class Plugged:
    """One mounted card, and what is known of it without reading it."""

    card: MountedCard
    before: Intake | None
    unfinished: Intake | None

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
    intakes: Page[Intake]
    unplaced: int
    last_verify: Job | None
    last_backup: tuple[datetime, str] | None


def gather(plugged: list[MountedCard], page: str) -> CardsPage:
    """All of the page, with a number of queries that does not grow with the catalogue."""
    sources = [str(c.path.resolve()) for c in plugged]
    latest: dict[str, Intake] = {}
    for row in Intake.objects.filter(source__in=sources).order_by("started_at"):
        latest[row.source] = row
    whole = Intake.State.WHOLE
    cards = []
    for card, source in zip(plugged, sources, strict=True):
        found = latest.get(source)
        done = found is not None and found.state == whole
        cards.append(Plugged(card, found if done else None, None if done else found))
    waiting = list(
        Visit.objects.filter(card_out__isnull=False, deployment__isnull=False)
        .exclude(Exists(Intake.objects.filter(deployment=OuterRef("deployment"), card=OuterRef("card_out"))))
        .filter(card_out__state__in=["home", "out"])
        .select_related("card_out", "site", "deployment__camera")
        .order_by("-at")[:12]
    )
    intakes = Intake.objects.select_related("deployment__site", "deployment__camera", "card")
    return CardsPage(
        plugged=cards,
        waiting=waiting,
        work=list(
            Job.objects.filter(kind__in=WORK, state__in=["waiting", "running", "paused", "failed"]).order_by("-id")[:5]
        ),
        intakes=Paginator(intakes, A_PAGE).get_page(page),
        unplaced=Intake.objects.filter(deployment__isnull=True, state=whole, new__gt=0).count(),
        last_verify=Job.objects.filter(kind="verify", state="done").order_by("-id").first(),
        last_backup=last_backup(),
    )


# One intake -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Storm:
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
    """One step of an intake. state: done, now or next."""

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
class IntakePage:
    """The page of one intake."""

    intake: Intake
    job: Job | None
    steps: list[Step]
    strip: list[Picture]
    pages: Page[Picture] | None
    storms: list[Storm]
    gaps: list[tuple[datetime, datetime, str, bool]]
    clocks: list[watch.ClockProposal]
    jumps: list[str]
    damaged: list[Picture]
    foreign: list[Picture]
    events: int
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

    @property
    def wrong(self) -> bool:
        return bool(self.storms or self.gaps or self.clocks or self.jumps or self.damaged or self.foreign)


def job_of(name: str) -> Job | None:
    """The last piece of work on an intake."""
    return Job.objects.filter(kind__in=("take-in", "place"), args__intake=name).order_by("-id").first()


def intake_page(intake: Intake, page: str | None) -> IntakePage:
    """All of one intake's page. A card may hold tens of thousands of pictures, so the database adds up."""
    job = job_of(intake.name)
    pictures = intake.pictures.order_by("file_order")
    whole = intake.state == Intake.State.WHOLE
    many = _counts(intake)
    unread = many["unread"] if whole else 0
    hours = hours_of(intake) if intake.deployment_id else []
    ready = whole and not unread
    backup = last_backup()
    return IntakePage(
        intake=intake,
        job=job,
        steps=_steps(intake, job, unread),
        strip=_strip(intake, hours),
        pages=Paginator(pictures, 60).get_page(page) if page else None,
        storms=storms(hours, intake.deployment) if ready else [],
        gaps=_gaps(intake, many["first"], many["last"]) if ready else [],
        clocks=watch.proposals(intake.deployment) if ready and intake.deployment else [],
        # A dial reading never changes, so what was told of it when the card came still holds.
        jumps=[note for note in intake.all_notes if note.startswith(("The clock went", "The clock leapt"))][:6],
        damaged=list(pictures.exclude(problem="")[:60]) if many["damaged"] else [],
        foreign=list(pictures.filter(foreign=True)[:STRIP]) if many["strangers"] else [],
        events=sum(hour.events for hour in hours),
        unseen=sum(hour.unseen for hour in hours),
        first_at=many["first"],
        last_at=many["last"],
        rule=sentence(BURST_GAP_S),
        backed_up=backup is not None and intake.finished_at is not None and backup[0] > intake.finished_at,
        verdict=intake.verdict,
        unread=unread,
        choices=_choices(intake) if whole else [],
        cargo=moving.cargo(intake) if whole and intake.deployment_id else None,
        moved=_last_move(intake),
    )


def _last_move(intake: Intake) -> LastMove | None:
    if not intake.moves:
        return None
    last = intake.moves[-1]
    names = dict(Deployment.objects.filter(slug__in=[last["from"], last["to"]]).values_list("slug", "site__name"))
    told = [names.get(slug, slug) if slug else "unplaced" for slug in (last["from"], last["to"])]
    can, _ = moving.back_to(intake)
    return LastMove(datetime.fromisoformat(last["at"]), last["by"], *told, can_go_back=can)


def _counts(intake: Intake) -> dict[str, Any]:
    own = Q(foreign=False)
    return intake.pictures.aggregate(
        unread=Count("pk", filter=Q(looked=False)),
        strangers=Count("pk", filter=Q(foreign=True)),
        damaged=Count("pk", filter=~Q(problem="")),
        first=Min("taken_at", filter=own),
        last=Max("taken_at", filter=own),
    )


@dataclass(frozen=True)
class Hour:
    """The events of one intake that began in one hour. number : hours since 1970. start, end : Unix seconds.

    pictures, by_night : without time-lapse frames; the second those by infrared. unseen : events.
    """

    number: int
    pictures: int
    by_night: int
    start_s: float
    end_s: float
    events: int
    unseen: int


def hours_of(intake: Intake) -> list[Hour]:
    """An intake's events added up by the hour, in order, in one query."""
    start, end = seconds("start_at"), seconds("end_at")
    hour = f"CAST({start} / 3600.0 AS integer)" if connection.vendor == "sqlite" else f"FLOOR({start} / 3600)::int"
    with connection.cursor() as cursor:
        cursor.execute(
            f"""
            SELECT {hour}, SUM(CASE WHEN time_lapse THEN 0 ELSE frames END),
                   SUM(CASE WHEN infrared AND NOT time_lapse THEN frames ELSE 0 END),
                   MIN({start}), MAX({end}), COUNT(*),
                   SUM(CASE WHEN word_id IS NULL AND NOT time_lapse THEN 1 ELSE 0 END)
            FROM trod_event
            WHERE id IN (SELECT event_id FROM trod_picture WHERE intake_id = %s AND event_id IS NOT NULL)
            GROUP BY 1 ORDER BY 1
            """,
            [intake.pk],
        )
        return [Hour(*row) for row in cursor.fetchall()]


def _strip(intake: Intake, hours: list[Hour]) -> list[Picture]:
    """A picture from each of some hours, spread over the card; without events the first pictures."""
    step = max(1, -(-len(hours) // STRIP))
    wanted = Q()
    for hour in hours[::step][:STRIP]:
        begun = datetime.fromtimestamp(hour.start_s, UTC)
        wanted |= Q(start_at__range=(begun - timedelta(seconds=1), begun + timedelta(seconds=1)))
    if wanted:
        events = Event.objects.filter(wanted, deployment=intake.deployment_id).select_related("cover")
        return [event.cover for event in events.order_by("start_at")[:STRIP] if event.cover]
    return list(intake.pictures.filter(looked=True).exclude(width=None).order_by("file_order")[:STRIP])


def _steps(intake: Intake, job: Job | None, unread: int) -> list[Step]:
    whole = intake.state == Intake.State.WHOLE
    copied = "done" if whole else "now"
    detail = f"{intake.new} new" if whole else ""
    if whole and intake.duplicates:
        detail += f", {intake.duplicates} kept before"
    read = "next" if not whole else "now" if unread else "done"
    parted = "done" if whole and not unread and (job is None or job.state == "done") else "next"
    return [
        Step("Copy and prove", copied, detail),
        Step("Read the pictures", read, f"{unread} to go" if whole and unread else ""),
        Step("Put events together", parted),
    ]


def storms(hours: list[Hour], deployment: Deployment | None) -> list[Storm]:
    """Hours in which far more pictures were taken than in this card's usual hour, neighbouring ones joined."""
    busy = [hour for hour in hours if hour.pictures]
    if not busy:
        return []
    limit = max(STORM_LEAST, STORM_TIMES * float(np.median([hour.pictures for hour in busy])))
    runs: list[list[Hour]] = []
    for hour in busy:
        if hour.pictures < limit:
            continue
        if not runs or hour.number - runs[-1][-1].number > 2:
            runs.append([])
        runs[-1].append(hour)
    runs = sorted(runs, key=lambda run: -sum(hour.pictures for hour in run))[:MOST_STORMS]
    return [_storm(run, deployment) for run in runs]


def _storm(run: list[Hour], deployment: Deployment | None) -> Storm:
    start = datetime.fromtimestamp(min(hour.start_s for hour in run), UTC)
    end = datetime.fromtimestamp(max(hour.end_s for hour in run), UTC)
    pictures = sum(hour.pictures for hour in run)
    night = sum(hour.by_night for hour in run)
    covers: list[str] = []
    if deployment is not None:
        of = Event.objects.filter(deployment=deployment, start_at__gte=start - timedelta(seconds=1), start_at__lte=end)
        covers = [sha for sha in of.order_by("start_at").values_list("cover__sha256", flat=True)[:500] if sha]
    return Storm(start, end, pictures, night * 2 < pictures, tuple(covers[:: max(1, len(covers) // 4)][:4]))


def _gaps(intake: Intake, first: datetime | None, last: datetime | None) -> list[tuple[datetime, datetime, str, bool]]:
    """Gaps and doubts of the deployment that touch the time of this card."""
    deployment = intake.deployment
    if deployment is None or first is None or last is None:
        return []
    now = intake.finished_at or intake.started_at
    seen = summaries([deployment], deployment.site.reserve, now).get(deployment.pk)
    if seen is None:
        return []
    low, high = first - timedelta(days=1), last + timedelta(days=60)
    every = [
        *((a, b, why, False) for a, b, why in seen.gaps),
        *((a, b, why, True) for a, b, why in seen.doubts),
    ]
    return sorted(row for row in every if row[1] > low and row[0] < high and row[1] - row[0] > timedelta(hours=12))


def _choices(intake: Intake) -> list[Deployment]:
    """Where it could lie instead."""
    if intake.deployment_id is None and not intake.new:
        return []
    others = Deployment.objects.select_related("site", "camera").order_by("site__name", "-start")
    return list(others.exclude(pk=intake.deployment_id)[:400])
