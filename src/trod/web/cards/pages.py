"""What the Cards pages show, as records; nothing here changes anything."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from django.core.paginator import Page, Paginator
from django.db.models import Exists, OuterRef

from trod.archive.card import MountedCard
from trod.pictures.events import BURST_GAP_S, sentence
from trod.web.catalogue import take_in, watch
from trod.web.catalogue.backup import last as last_backup
from trod.web.models import Deployment, Event, Intake, Job, Picture, Visit

A_PAGE = 20
STRIP = 12
# A storm: an hour with at least so many pictures, and so many times what an hour with any usually
# holds. Ours.
STORM_LEAST, STORM_TIMES = 30, 5.0
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
            Job.objects.filter(kind__in=WORK, state__in=["waiting", "running", "paused", "failed"]).order_by(
                "-id"
            )[:5]
        ),
        intakes=Paginator(intakes, A_PAGE).get_page(page),
        unplaced=Intake.objects.filter(deployment__isnull=True, state=whole).count(),
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
            return (
                "Perhaps wind: grass or branches moving in warm light. Or animals that stayed; look at its "
                "pictures."
            )
        return "Perhaps animals that stayed, or something that moved close to the lens. Look at its pictures."


@dataclass(frozen=True)
class Step:
    """One step of an intake. state: done, now or next."""

    label: str
    state: str
    detail: str = ""


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
    sentence: str
    unread: int = 0
    choices: list[Deployment] = field(default_factory=list)

    @property
    def wrong(self) -> bool:
        return bool(self.storms or self.gaps or self.clocks or self.jumps or self.damaged or self.foreign)


def job_of(name: str) -> Job | None:
    """The last piece of work on an intake."""
    return Job.objects.filter(kind__in=("take-in", "place"), args__intake=name).order_by("-id").first()


def intake_page(intake: Intake, page: str | None) -> IntakePage:
    """All of one intake's page."""
    job = job_of(intake.name)
    pictures = intake.pictures.order_by("file_order")
    whole = intake.state == Intake.State.WHOLE
    unread = pictures.filter(looked=False).count() if whole else 0
    events = Event.objects.filter(pictures__intake=intake).distinct()
    starts = list(
        events.order_by("start_at").values_list(
            "start_at", "end_at", "frames", "infrared", "cover__sha256", "time_lapse"
        )
    )
    timed = pictures.filter(taken_at__isnull=False, foreign=False)
    first, last = timed.order_by("taken_at").first(), timed.order_by("-taken_at").first()
    ready = whole and not unread
    backup = last_backup()
    return IntakePage(
        intake=intake,
        job=job,
        steps=_steps(intake, job, unread),
        strip=_strip(intake, [row[4] for row in starts if not row[5]]),
        pages=Paginator(pictures.select_related("event"), 60).get_page(page) if page else None,
        storms=storms([row for row in starts if not row[5]]) if ready else [],
        gaps=_gaps(intake, first, last) if ready else [],
        clocks=watch.proposals(intake.deployment) if ready and intake.deployment else [],
        jumps=_jumps(intake) if ready else [],
        damaged=list(pictures.exclude(problem="")[:60]),
        foreign=list(pictures.filter(foreign=True)[:STRIP]),
        events=len(starts),
        unseen=events.filter(word__isnull=True, time_lapse=False).count(),
        first_at=first.taken_at if first else None,
        last_at=last.taken_at if last else None,
        rule=sentence(BURST_GAP_S),
        backed_up=backup is not None and intake.finished_at is not None and backup[0] > intake.finished_at,
        sentence=take_in.format_sentence(intake) if whole else "",
        unread=unread,
        choices=_choices(intake) if whole else [],
    )


def _strip(intake: Intake, covers: list[str | None]) -> list[Picture]:
    """One picture of each of the first events, spread over the card; without events the first pictures."""
    wanted = [sha for sha in covers[:: max(1, len(covers) // STRIP)] if sha][:STRIP]
    if wanted:
        found = {p.sha256: p for p in Picture.objects.filter(sha256__in=wanted)}
        return [found[sha] for sha in wanted if sha in found]
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


def storms(rows: Iterable[tuple[Any, ...]]) -> list[Storm]:
    """Hours in which far more pictures were taken than in this card's usual hour, neighbouring ones joined.

    rows : of the events: start, end, frames, infrared, SHA-256 of the cover.
    """
    rows = sorted(rows, key=lambda row: row[0])
    if not rows:
        return []
    hours: dict[int, list[tuple[Any, ...]]] = {}
    for row in rows:
        hours.setdefault(int(row[0].timestamp() // 3600), []).append(row)
    counts = {hour: sum(row[2] for row in of) for hour, of in hours.items()}
    limit = max(STORM_LEAST, STORM_TIMES * float(np.median(list(counts.values()))))
    runs: list[list[tuple[Any, ...]]] = []
    before = None
    for hour in sorted(hour for hour, count in counts.items() if count >= limit):
        if before is None or hour - before > 2:
            runs.append([])
        runs[-1] += hours[hour]
        before = hour
    found = []
    for run in runs:
        night = sum(row[2] for row in run if row[3])
        frames = sum(row[2] for row in run)
        step = max(1, len(run) // 4)
        covers = tuple(row[4] for row in run[::step] if row[4])[:4]
        found.append(Storm(run[0][0], max(row[1] for row in run), frames, night * 2 < frames, covers))
    return sorted(found, key=lambda storm: -storm.pictures)[:4]


def _gaps(
    intake: Intake, first: Picture | None, last: Picture | None
) -> list[tuple[datetime, datetime, str, bool]]:
    """Gaps and doubts of the deployment that touch the time of this card."""
    deployment = intake.deployment
    if deployment is None or first is None or last is None:
        return []
    from trod.web.today.summary import summaries

    now = intake.finished_at or intake.started_at
    seen = summaries([deployment], deployment.site.reserve, now).get(deployment.pk)
    if seen is None:
        return []
    low, high = first.taken_at - timedelta(days=1), last.taken_at + timedelta(days=60)
    every = [
        *((a, b, why, False) for a, b, why in seen.gaps),
        *((a, b, why, True) for a, b, why in seen.doubts),
    ]
    return sorted(
        row for row in every if row[1] > low and row[0] < high and row[1] - row[0] > timedelta(hours=12)
    )


def _jumps(intake: Intake) -> list[str]:
    rows = intake.pictures.filter(time_from__in=("exif", "clip"), foreign=False).order_by("file_order")
    return [
        f"{str(jump)[0].upper()}{str(jump)[1:]}."
        for jump in watch.jumps(list(rows.values_list("path", "taken_raw")))[:6]
    ]


def _choices(intake: Intake) -> list[Deployment]:
    if intake.deployment_id is not None:
        return []
    return list(Deployment.objects.select_related("site", "camera").order_by("site__name", "-start")[:400])


def short(path: str) -> str:
    """The last two parts of a path."""
    return "/".join(Path(path).parts[-2:])
