"""Long work: taken one at a time, paused, cancelled, and gone on with after the worker was killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pulled
import pytest
from django.utils import timezone

from trod.catalogue import jobs
from trod.catalogue.models import Job, Species
from trod.errors import DiskFull, Stopped

HERE = Path(__file__).parents[2] / "src"


@pytest.fixture
def kinds(monkeypatch: pytest.MonkeyPatch, db: Any) -> dict[str, jobs.Handler]:
    """The handlers of a test alone."""
    monkeypatch.setattr(jobs, "HANDLERS", {})
    return jobs.HANDLERS


def test_a_job_runs_to_its_end_and_keeps_its_result(kinds: dict[str, jobs.Handler]) -> None:
    kinds["count"] = lambda args, report: sum(range(args["to"]))
    asked = jobs.ask("count", {"to": 4}, by="Ilka")
    done = jobs.work_once("me")
    assert done is not None
    assert (done.pk, done.state, done.result, done.attempts, done.by) == (asked.pk, "done", 6, 1, "Ilka")
    assert jobs.work_once("me") is None


def test_jobs_are_done_in_the_order_in_which_they_were_asked_for(kinds: dict[str, jobs.Handler]) -> None:
    seen: list[int] = []
    kinds["note"] = lambda args, report: seen.append(args["n"])
    for n in range(3):
        jobs.ask("note", {"n": n})
    while jobs.work_once("me"):
        pass
    assert seen == [0, 1, 2]


def test_a_trouble_of_ours_is_told_in_its_own_words_and_the_job_can_go_on(
    kinds: dict[str, jobs.Handler],
) -> None:
    def full(args: dict[str, Any], report: jobs.Report) -> None:
        raise DiskFull("No room left on the disk of /archive. Make room there, then resume.")

    kinds["fill"] = full
    job = jobs.ask("fill")
    jobs.work_once("me")
    job.refresh_from_db()
    assert (job.state, job.error) == (
        "failed",
        "No room left on the disk of /archive. Make room there, then resume.",
    )
    kinds["fill"] = lambda args, report: "fits now"
    jobs.resume(job)
    jobs.work_once("me")
    job.refresh_from_db()
    assert (job.state, job.result, job.error, job.attempts) == ("done", "fits now", "", 2)


def test_an_unforeseen_fault_says_that_what_was_done_is_kept(kinds: dict[str, jobs.Handler]) -> None:
    kinds["divide"] = lambda args, report: 1 / 0
    jobs.ask("divide")
    done = jobs.work_once("me")
    assert done is not None and done.state == "failed"
    assert done.error.startswith(
        "An unforeseen fault (ZeroDivisionError: division by zero). What was done is kept; try again."
    )


@pytest.mark.parametrize(("what", "state"), [("pause", "paused"), ("cancel", "cancelled")])
def test_a_wish_stops_a_running_job_at_its_next_step(kinds: dict[str, jobs.Handler], what: str, state: str) -> None:
    reached: list[int] = []

    def long(args: dict[str, Any], report: jobs.Report) -> None:
        for n in range(100):
            if n == 3:
                jobs.wish(Job.objects.get(), what)
            reached.append(n)
            report.step(n, 100, "counting", force=True)

    kinds["long"] = long
    jobs.ask("long")
    done = jobs.work_once("me")
    assert done is not None
    assert (done.state, done.done, done.message, reached[-1]) == (state, 3, "counting", 3)


def test_a_waiting_job_is_paused_at_once(kinds: dict[str, jobs.Handler]) -> None:
    job = jobs.ask("never")
    jobs.wish(job, "pause")
    assert jobs.work_once("me") is None
    job.refresh_from_db()
    assert job.state == "paused"


def test_a_result_and_its_progress_are_one_transaction(kinds: dict[str, jobs.Handler]) -> None:
    def half(args: dict[str, Any], report: jobs.Report) -> None:
        with report.saving(1, 2, "first"):
            Species.objects.create(name="Jay", slug="jay")
        with report.saving(2, 2, "second"):
            Species.objects.create(name="Fox", slug="fox")
            raise RuntimeError("power cut")

    kinds["half"] = half
    jobs.ask("half")
    done = jobs.work_once("me")
    assert done is not None
    assert (done.state, done.done, done.message) == ("failed", 1, "first")
    assert list(Species.objects.values_list("slug", flat=True)) == ["jay"]


def test_a_silent_workers_job_is_taken_over_and_the_silent_one_stops(kinds: dict[str, jobs.Handler]) -> None:
    job = jobs.ask("long")
    first = jobs.claim("first")
    assert first is not None and jobs.claim("second") is None
    Job.objects.filter(pk=job.pk).update(heartbeat=timezone.now() - timedelta(seconds=jobs.LEASE_S + 1))
    second = jobs.claim("second")
    assert second is not None and second.attempts == 2
    with pytest.raises(Stopped, match="another worker has this job now"):
        jobs.Report(job.pk, "first").step(5, 10, force=True)
    job.refresh_from_db()
    assert (job.owner, job.done) == ("second", 0)


def test_a_worker_leaves_kinds_it_was_not_given(kinds: dict[str, jobs.Handler]) -> None:
    jobs.ask("verify")
    assert jobs.claim("me", kinds=["import"]) is None


# A worker that is really killed

WORK = """
import sys
from trod.catalogue.start import ready
ready()
from trod.catalogue import jobs
import trod.catalogue.work.handlers
jobs.LEASE_S = 0.5
from trod.catalogue.imports import facts
facts.TOGETHER, facts.FEW = 8, 10**9
job = jobs.work_once()
print(job.state if job else "nothing", flush=True)
"""
ASK = """
import sys
from pathlib import Path
from trod.catalogue.start import ready
ready()
from datetime import datetime, UTC
from trod.catalogue import jobs
from trod.catalogue.imports import import_card, propose, records
from trod.archive.card import scan
path, now = Path(sys.argv[1]), datetime(2026, 6, 30, tzinfo=UTC)
marks = propose.read_marks(scan(path))
deployment, _ = records.make(serial="INV-001", site_name="Alder Track", marks=marks, now=now)
row = import_card.begin(import_card.Asked(path, deployment), now=now)
jobs.ask("import", {"card_import": row.name})
"""
COUNT = """
import json
from trod.catalogue.start import ready
ready()
from trod.archive import verify
from trod.catalogue import home
from trod.catalogue.models import Sequence, Import, Job, Picture
job = Job.objects.get()
looked = Picture.objects.filter(looked=True).count()
print(json.dumps([job.state, job.attempts, Import.objects.get().state, looked,
                  Sequence.objects.count(), verify.verify(home.archive_root()).ok,
                  (job.result or {}).get("new")]))
"""


@pytest.fixture
def python(trod_home: Path) -> Iterator[Any]:
    """Run a piece of Python in a process of its own, on this test's home."""
    env = {**os.environ, "TROD_HOME": str(trod_home), "PYTHONPATH": str(HERE)}
    started: list[subprocess.Popen[str]] = []

    def start(code: str, *words: str) -> subprocess.Popen[str]:
        process = subprocess.Popen([sys.executable, "-c", code, *words], env=env, stdout=subprocess.PIPE, text=True)
        started.append(process)
        return process

    yield start
    for process in started:
        if process.poll() is None:
            process.kill()
            process.wait()


@pytest.mark.kill
@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is not a signal of Windows")
def test_an_import_whose_worker_is_killed_again_and_again_comes_to_its_end(
    python: Any, trod_home: Path, tmp_path: Path
) -> None:
    import json

    card = pulled.Pulled(tmp_path / "ESK-01-A")
    card.bursts(pulled.days(40))
    assert python(ASK, str(card.folder)).wait() == 0
    kills = 0
    # From before a quiet machine has claimed the job to after a busy one has begun to read pictures.
    for wait_s in (0.3, 0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7, 0.8, 0.9, 1.0, 1.2, 1.5, 2.0):
        worker = python(WORK)
        try:
            worker.wait(timeout=wait_s)
        except subprocess.TimeoutExpired:
            os.kill(worker.pid, signal.SIGKILL)
            worker.wait()
            kills += 1
        time.sleep(0.6)
    for _ in range(3):
        python(WORK).communicate(timeout=120)
    state, attempts, card_import, looked, sequences, ok, new = json.loads(python(COUNT).communicate()[0])
    assert kills > 0
    assert (state, card_import, looked, sequences, ok, new) == ("done", "whole", 120, 40, True, 120)
    assert attempts >= 1
