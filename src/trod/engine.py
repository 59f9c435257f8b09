"""Work on many things at once: one after another, in local processes, or on a cluster, with one and the same call.

Results come in the order of the tasks. An error belongs to its task and does not end the run; a worker
process that dies (killed, out of memory) costs only the task that killed it.
"""

from __future__ import annotations

import os
import signal
import traceback
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from itertools import islice
from multiprocessing import get_context
from typing import Any, Generic, TypeVar

from trod.errors import Stopped, TrodError, WrongInput

T = TypeVar("T")
R = TypeVar("R")

# About what keeps the cost of handing over small beside the work (tens of milliseconds a picture).
# Measured: docs.
BATCH = 16
# How often a wait looks whether it should stop.
LOOK_S = 0.1


@dataclass(frozen=True, kw_only=True)
class TaskError:
    """What went wrong with one task, in a form that travels between processes.

    kind : the exception's class name. text : its message. trace : where, for a log.
    """

    kind: str
    text: str
    trace: str = ""

    def __str__(self) -> str:
        return self.text or self.kind


@dataclass(frozen=True, kw_only=True)
class Outcome(Generic[T, R]):
    """One task and what came of it: a value, or an error (then value is None)."""

    index: int
    task: T
    value: R | None
    error: TaskError | None

    @property
    def ok(self) -> bool:
        return self.error is None


class ClusterMissing(TrodError):
    """The cluster extra is not installed."""

    def __str__(self) -> str:
        return "Work on a cluster needs the extra: pip install 'trod[cluster]', or leave the cluster out."


def usual_workers() -> int:
    """How many local processes make sense here: the processors this process may use."""
    try:
        return max(1, len(os.sched_getaffinity(0)))
    except AttributeError:  # not on macOS and Windows
        return max(1, os.cpu_count() or 1)


def run(
    tasks: Iterable[T],
    fn: Callable[[T], R],
    *,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    stop: Callable[[], bool] | None = None,
    cluster: object | None = None,
    batch: int = BATCH,
) -> Iterator[Outcome[T, R]]:
    """Call `fn` on every task and yield an Outcome for each, in the order of the tasks.

    tasks : a sequence is taken as it is; another iterable is first made a list, so that the total is known.
    fn : for workers above 1 or a cluster it must be a module's own function (or a functools.partial of one),
    because it is handed to other processes by name.
    workers : 1 or less works here, one after another, without any process.
    progress : called as progress(done, total) after each task here, after each batch elsewhere.
    stop : asked between tasks (here) or several times a second (elsewhere); once True the rest is called
    off and Stopped is raised. What was yielded before is the caller's.
    cluster : a `distributed.Client`, or a scheduler's address such as "tcp://127.0.0.1:8786" (extra
    `cluster`).
    batch : tasks handed over at a time.
    Raises Stopped; ClusterMissing; WrongInput for a batch under 1.
    Notes : never more than a few batches are in flight, so memory stays flat however many tasks there are.
    Leaving the loop early (break, an exception) calls off the rest as well.
    """
    if batch < 1:
        raise WrongInput("batch", got=batch, needed="a whole number from 1")
    todo: Sequence[T] = tasks if isinstance(tasks, Sequence) else list(tasks)
    asked = stop or (lambda: False)
    if cluster is None and (workers <= 1 or len(todo) <= 1):
        return _serial(todo, fn, progress, asked)
    return _parallel(todo, fn, workers, progress, asked, cluster, batch)


def _one(fn: Callable[[T], R], task: T) -> tuple[R | None, TaskError | None]:
    try:
        return fn(task), None
    except Stopped:
        raise
    except Exception as error:
        return None, TaskError(
            kind=type(error).__name__, text=str(error), trace="".join(traceback.format_exception(error))
        )


def _many(fn: Callable[[T], R], tasks: Sequence[T]) -> list[tuple[R | None, TaskError | None]]:
    """What runs in the other process."""
    return [_one(fn, task) for task in tasks]


def _serial(
    tasks: Sequence[T],
    fn: Callable[[T], R],
    progress: Callable[[int, int], None] | None,
    stop: Callable[[], bool],
) -> Iterator[Outcome[T, R]]:
    for index, task in enumerate(tasks):
        if stop():
            raise Stopped(_stopped_words(index, len(tasks)))
        value, error = _one(fn, task)
        yield Outcome(index=index, task=task, value=value, error=error)
        if progress:
            progress(index + 1, len(tasks))


def _stopped_words(done: int, total: int) -> str:
    return f"stopped after {done} of {total}; what is done is kept, start again to go on"


@contextmanager
def _no_ctrl_c() -> Iterator[None]:
    """For what processes started within inherit: Ctrl-C is their first process's business.

    Ctrl-C reaches the terminal's whole group at once. A worker hit by it while it loads would print a traceback that
    says nothing to anybody.
    """
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _Crew:
    """The executor in use; a broken process pool is replaced by a fresh one."""

    def __init__(self, workers: int, cluster: object | None) -> None:
        self.workers, self.cluster = workers, cluster
        self.stack = ExitStack()
        self.executor = self._hire()

    def _hire(self) -> Executor:
        if self.cluster is None:
            return ProcessPoolExecutor(self.workers, mp_context=get_context("spawn"))
        try:
            import distributed
        except ImportError as error:
            raise ClusterMissing from error
        connect: Any = distributed.Client
        client: Any = self.cluster
        if isinstance(client, str):
            client = self.stack.enter_context(connect(client, set_as_default=False))
        # pure=False: the same task twice is done twice. retries: a lost worker's batch is done elsewhere.
        executor: Executor = client.get_executor(pure=False, retries=2)
        return executor

    def submit(self, fn: Callable[..., Any], *args: Any) -> Future[Any]:
        with _no_ctrl_c():  # a pool starts its processes as work comes
            return self.executor.submit(fn, *args)

    def replace(self) -> None:
        self.executor.shutdown(wait=False, cancel_futures=True)
        self.executor = self._hire()

    def dismiss(self) -> None:
        if self.cluster is None:
            self.executor.shutdown(wait=True, cancel_futures=True)
        else:
            self.executor.shutdown(wait=False)  # what runs was already called off by _parallel
        self.stack.close()


@dataclass
class _Batch:
    first: int
    tasks: list[Any]
    future: Future[list[tuple[Any, TaskError | None]]] | None = None


def _parallel(
    tasks: Sequence[T],
    fn: Callable[[T], R],
    workers: int,
    progress: Callable[[int, int], None] | None,
    stop: Callable[[], bool],
    cluster: object | None,
    batch: int,
) -> Iterator[Outcome[T, R]]:
    total = len(tasks)
    # A short list is still spread over all workers.
    size = max(1, min(batch, -(-total // max(1, workers))))
    waiting = (_Batch(first, list(tasks[first : first + size])) for first in range(0, total, size))
    in_flight: deque[_Batch] = deque()
    again: deque[_Batch] = deque()  # of a broken pool: done one at a time, so that the culprit is known
    room = 3 * max(workers, 2)
    crew = _Crew(workers, cluster)
    done = 0
    try:
        while True:
            if stop():
                raise Stopped(_stopped_words(done, total))
            if again:
                head = again.popleft()
                head.future = crew.submit(_many, fn, head.tasks)
                alone = True
            else:
                for new in islice(waiting, room - len(in_flight)):
                    try:
                        new.future = crew.submit(_many, fn, new.tasks)
                    except BrokenExecutor:
                        new.future = None
                    in_flight.append(new)
                if not in_flight:
                    return
                head, alone = in_flight.popleft(), False
            results: list[tuple[Any, TaskError | None]]
            try:
                if head.future is None:
                    raise BrokenExecutor
                while not wait([head.future], timeout=LOOK_S).done:
                    if stop():
                        raise Stopped(_stopped_words(done, total))
                results = head.future.result()
            except BrokenExecutor:
                crew.replace()
                if not alone:
                    again.extend([head, *in_flight])
                    in_flight.clear()
                    continue
                if len(head.tasks) > 1:
                    again.extendleft(reversed(_singles(head)))
                    continue
                results = [(None, _died())]
            except Stopped:
                raise
            except Exception as error:
                # The batch did not travel: a function or a result that cannot be handed over, a lost worker
                # of a cluster. Alone each task tells for itself.
                if len(head.tasks) > 1:
                    again.extendleft(reversed(_singles(head)))
                    continue
                results = [(None, TaskError(kind=type(error).__name__, text=str(error)))]
            for offset, (value, failed) in enumerate(results):
                yield Outcome(index=head.first + offset, task=head.tasks[offset], value=value, error=failed)
            done += len(results)
            if progress:
                progress(done, total)
    finally:
        for left in (*in_flight, *again):
            if left.future is not None:
                left.future.cancel()
        crew.dismiss()


def _singles(batch: _Batch) -> list[_Batch]:
    return [_Batch(batch.first + i, [task]) for i, task in enumerate(batch.tasks)]


def _died() -> TaskError:
    return TaskError(
        kind="WorkerDied",
        text="the process working on this died (killed, or out of memory); the others went on. Try it alone.",
    )
