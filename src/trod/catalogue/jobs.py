"""Long work outside the request: a table of jobs and a worker that takes them one after another.

A job's handler is a function `(args, report) -> result`, registered under a name. `report.step(done, total,
message)` writes progress and a heartbeat, and raises Stopped when somebody asked for a pause or a cancel, or when
another worker has taken the job over. A handler that stores results does so inside `with report.saving(done):`,
so that a result and its progress are one transaction: after a kill the work goes on where the last one ended.
A worker that dies leaves a job 'running' with an old heartbeat; the next worker takes it over after LEASE_S.
"""

from __future__ import annotations

import os
import socket
import sys
import threading
import time
import traceback
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.db import DatabaseError, close_old_connections, transaction
from django.db.models import F, Q
from django.utils import timezone

from trod.catalogue.models import Job
from trod.errors import Stopped, TrodError

LEASE_S = 60.0
LOOK_S = 20.0  # between two looks for what has gone stale
BEAT_S = 1.0  # progress is written at most this often, unless it comes with a result

Handler = Callable[[dict[str, Any], "Report"], Any]
HANDLERS: dict[str, Handler] = {}


def handles(kind: str) -> Callable[[Handler], Handler]:
    """Register the function that does jobs of this kind."""

    def keep(function: Handler) -> Handler:
        HANDLERS[kind] = function
        return function

    return keep


@dataclass
class Report:
    """The handler's line to the job's row."""

    job_id: int
    owner: str
    _last: float = field(default=0.0)
    _wish: str = field(default="")

    def step(self, done: int, total: int, message: str = "", *, force: bool = False) -> None:
        """Say how far the work is. Raises Stopped when it is to stop."""
        now = time.monotonic()
        if force or now - self._last >= BEAT_S or done >= total:
            self._write(done=done, total=total, message=message[:300])
            self._last = now
        self.check()

    @contextmanager
    def saving(self, done: int, total: int, message: str = "") -> Iterator[None]:
        """Keep results and progress in one transaction."""
        with transaction.atomic():
            yield
            self._write(done=done, total=total, message=message[:300])
        self._last = time.monotonic()
        self.check()

    def stop(self) -> bool:
        """True when the work is to stop; for core functions that take `stop`."""
        now = time.monotonic()
        if now - self._last >= BEAT_S:
            self._write()
            self._last = now
        return bool(self._wish)

    def check(self) -> None:
        if self._wish:
            raise Stopped(f"asked to {self._wish}")

    def _write(self, **values: Any) -> None:
        mine = Job.objects.filter(pk=self.job_id, owner=self.owner, state=Job.State.RUNNING)
        if not mine.update(heartbeat=timezone.now(), **values):
            self._wish = "stop, since another worker has this job now"
            raise Stopped(self._wish)
        self._wish = mine.values_list("wish", flat=True).first() or ""


def ask(kind: str, args: dict[str, Any] | None = None, *, by: str = "", total: int = 0) -> Job:
    """Put a job in the queue."""
    return Job.objects.create(kind=kind, args=args or {}, by=by, total=total, created_at=timezone.now())


def wish(job: Job, what: str) -> None:
    """Ask for 'pause' or 'cancel'; a job nobody works at stops at once."""
    state = Job.State.PAUSED if what == "pause" else Job.State.CANCELLED
    if not Job.objects.filter(pk=job.pk, state__in=[Job.State.WAITING, Job.State.PAUSED]).update(state=state, wish=""):
        Job.objects.filter(pk=job.pk, state=Job.State.RUNNING).update(wish=what)


def resume(job: Job) -> None:
    """Put a paused, failed or cancelled job back in the queue."""
    Job.objects.filter(pk=job.pk, state__in=[Job.State.PAUSED, Job.State.FAILED, Job.State.CANCELLED]).update(
        state=Job.State.WAITING, wish="", error="", finished_at=None
    )


def claim(owner: str, *, kinds: list[str] | None = None) -> Job | None:
    """Take the oldest job that waits, or whose worker has gone silent."""
    stale = timezone.now() - timedelta(seconds=LEASE_S)
    open_jobs = Job.objects.filter(Q(state=Job.State.WAITING) | Q(state=Job.State.RUNNING, heartbeat__lt=stale))
    if kinds is not None:
        open_jobs = open_jobs.filter(kind__in=kinds)
    for job in open_jobs.order_by("id")[:5]:
        taken = Job.objects.filter(pk=job.pk, state=job.state, heartbeat=job.heartbeat).update(
            state=Job.State.RUNNING,
            owner=owner,
            wish="",
            heartbeat=timezone.now(),
            attempts=F("attempts") + 1,
        )
        if taken:
            job.refresh_from_db()
            return job
    return None


def work_once(owner: str | None = None) -> Job | None:
    """Do one job, if there is one, and give back its row as it ended."""
    owner = owner or f"{socket.gethostname()}-{os.getpid()}-{uuid.uuid4().hex[:6]}"
    job = claim(owner)
    if job is None:
        return None
    report = Report(job.pk, owner)
    values: dict[str, Any] = {"finished_at": timezone.now()}
    try:
        result = HANDLERS[job.kind](dict(job.args), report)
        values.update(state=Job.State.DONE, result=result, error="")
    except Stopped:
        asked = Job.objects.filter(pk=job.pk).values_list("wish", flat=True).first()
        values.update(state=Job.State.CANCELLED if asked == "cancel" else Job.State.PAUSED, wish="")
    except TrodError as trouble:
        values.update(state=Job.State.FAILED, error=str(trouble))
    except Exception as trouble:
        values.update(
            state=Job.State.FAILED,
            error=f"An unforeseen fault ({type(trouble).__name__}: {trouble}). What was done is kept; try again.\n\n"
            + traceback.format_exc(),
        )
    values["finished_at"] = timezone.now()
    Job.objects.filter(pk=job.pk, owner=owner).update(**values)
    job.refresh_from_db()
    return job


def work(
    *, stop: threading.Event, settle_in: Callable[[], None], look_round: Callable[[], None], pause_s: float = 0.5
) -> None:
    """Do jobs until told to stop; look round between them for what has gone stale.

    settle_in : done before the first job. look_round : done when there is none, every LOOK_S seconds.
    """
    try:
        settle_in()
    except (TrodError, OSError, DatabaseError) as trouble:  # a full disk, a damaged catalogue; jobs will tell of it
        print(trouble, file=sys.stderr)
    looked = -LOOK_S
    while not stop.is_set():
        close_old_connections()
        if work_once() is not None:
            continue
        if time.monotonic() - looked >= LOOK_S:
            looked = time.monotonic()
            try:
                look_round()
            except (TrodError, OSError, DatabaseError) as trouble:  # a locked or missing disk: the next look may do
                print(trouble, file=sys.stderr)
            continue
        stop.wait(pause_s)
