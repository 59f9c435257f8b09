"""Work on many things: the same outcome here, in processes and on a cluster."""

from __future__ import annotations

import functools
import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from trod import engine
from trod.errors import Stopped, WrongInput

TASKS = list(range(-3, 40))


def reciprocal(number: int) -> float:
    return 60 / number


def note_and_wait(number: int, folder: Path) -> int:
    (folder / str(number)).touch()
    time.sleep(0.05)
    return number


def die_of_thirteen(number: int) -> int:
    if number == 13:
        os._exit(9)
    return number


def give_a_thing_that_cannot_travel(number: int) -> Any:
    return (lambda: number) if number == 5 else number


def summary(outcomes: Iterator[engine.Outcome[int, Any]]) -> list[tuple[int, int, Any, str]]:
    return [(o.index, o.task, o.value, o.error.kind if o.error else "") for o in outcomes]


EXPECTED = [(i, n, 60 / n if n else None, "" if n else "ZeroDivisionError") for i, n in enumerate(TASKS)]


def test_one_after_another_keeps_order_and_an_error_belongs_to_its_task() -> None:
    assert summary(engine.run(TASKS, reciprocal)) == EXPECTED
    (failed,) = [o for o in engine.run(TASKS, reciprocal) if not o.ok]
    assert failed.task == 0
    assert str(failed.error) == "division by zero"
    assert failed.error is not None and "reciprocal" in failed.error.trace


def test_processes_give_the_same_as_one_after_another() -> None:
    told: list[tuple[int, int]] = []
    found = engine.run(TASKS, reciprocal, workers=2, batch=4, progress=lambda done, total: told.append((done, total)))

    assert summary(found) == EXPECTED
    assert told[-1] == (len(TASKS), len(TASKS))
    assert [done for done, _ in told] == sorted(done for done, _ in told)


@pytest.mark.long
def test_a_cluster_gives_the_same_as_one_after_another() -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        dashboard_address=None,
        worker_dashboard_address=None,
        host="127.0.0.1",
    ) as cluster:
        assert summary(engine.run(TASKS, reciprocal, cluster=cluster.scheduler_address, batch=5)) == EXPECTED
        with distributed.Client(cluster, set_as_default=False) as client:
            assert summary(engine.run(TASKS, reciprocal, cluster=client, batch=5)) == EXPECTED


@pytest.mark.long
def test_a_task_that_kills_its_process_costs_only_itself() -> None:
    found = summary(engine.run(range(30), die_of_thirteen, workers=2, batch=5))

    assert [kind for *_, kind in found] == ["WorkerDied" if n == 13 else "" for n in range(30)]
    assert [value for _, _, value, _ in found] == [None if n == 13 else n for n in range(30)]


def test_a_result_that_cannot_travel_costs_only_its_task() -> None:
    found = summary(engine.run(range(10), give_a_thing_that_cannot_travel, workers=2, batch=10))
    assert [bool(kind) for *_, kind in found] == [n == 5 for n in range(10)]


def test_stopping_one_after_another_keeps_what_is_done() -> None:
    done: list[int] = []
    with pytest.raises(Stopped, match="stopped after 3 of 43; what is done is kept, start again to go on"):
        for outcome in engine.run(TASKS, reciprocal, stop=lambda: len(done) >= 3):
            done.append(outcome.index)
    assert done == [0, 1, 2]


def test_stopping_processes_calls_off_what_has_not_begun(tmp_path: Path) -> None:
    seen: list[int] = []
    work = functools.partial(note_and_wait, folder=tmp_path)
    with pytest.raises(Stopped):
        for outcome in engine.run(range(400), work, workers=2, batch=2, stop=lambda: bool(seen)):
            seen.append(outcome.index)
    assert len(list(tmp_path.iterdir())) < 100


def test_leaving_the_loop_early_calls_off_the_rest(tmp_path: Path) -> None:
    for _ in engine.run(range(400), functools.partial(note_and_wait, folder=tmp_path), workers=2, batch=2):
        break
    time.sleep(0.3)
    begun = len(list(tmp_path.iterdir()))
    time.sleep(0.3)
    assert begun == len(list(tmp_path.iterdir())) < 100


def test_no_tasks_is_no_work() -> None:
    assert list(engine.run([], reciprocal, workers=4)) == []


def test_a_batch_of_nothing_is_refused() -> None:
    with pytest.raises(WrongInput, match="batch: got 0; needed: a whole number from 1"):
        engine.run(TASKS, reciprocal, batch=0)


def test_a_missing_cluster_extra_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(engine.ClusterMissing, match=r"pip install 'trod\[cluster\]'"):
        list(engine.run(TASKS, reciprocal, cluster="tcp://127.0.0.1:1"))


def blocks_ctrl_c(number: int) -> bool:
    return signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, [])


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_ctrl_c_is_kept_from_the_processes_from_their_first_moment_and_not_from_the_one_that_hires_them() -> None:
    assert [o.value for o in engine.run([1, 2, 3], blocks_ctrl_c, workers=2)] == [True, True, True]
    assert not blocks_ctrl_c(0)
