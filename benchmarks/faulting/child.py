"""Work in forked children: what they said, how they ended, and how many steps they took."""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from faulting.layer import Counter, Layer, Plan

HUNG_S = 120.0


@dataclass
class Ended:
    """How a child ended. status : of exit, or None when a signal ended it."""

    status: int | None
    out: str
    err: str
    steps: int
    flag: bool
    seconds: float
    hung: bool = False

    @property
    def killed(self) -> bool:
        return self.status is None

    @property
    def said(self) -> dict[str, Any]:
        """The last JSON object it printed, or {}."""
        text = self.out.strip()
        with contextlib.suppress(ValueError):
            found = json.loads(text)
            return found if isinstance(found, dict) else {}
        with contextlib.suppress(ValueError):
            found = json.loads(text[text.rindex("\n{") :]) if "\n{" in text else {}
            return found if isinstance(found, dict) else {}
        return {}


@dataclass
class Child:
    """A child at work."""

    pid: int
    out: int
    err: int
    counter: Counter
    began: float = field(default_factory=time.monotonic)

    def wait(self, *, kill_after_s: float | None = None, until_flag: bool = False, patience_s: float = HUNG_S) -> Ended:
        """Wait for its end; kill it and all it started after that long, or once its flag stands."""
        end = self.began + patience_s
        kill_at = None if kill_after_s is None else self.began + kill_after_s
        status, hung = 0, False
        watch = os.pidfd_open(self.pid)
        try:
            while True:
                now = time.monotonic()
                rest = min(end, kill_at or end) - now
                ready = select.select([watch], [], [], max(0.0, min(rest, 0.005) if until_flag else rest))[0]
                if ready:
                    break
                now = time.monotonic()
                if (kill_at is not None and now >= kill_at) or (until_flag and self.counter.read()[1]) or now >= end:
                    hung = now >= end
                    self.kill()
                    break
            _, status = os.waitpid(self.pid, 0)
        finally:
            os.close(watch)
        self.kill()  # whatever it started
        steps, flag = self.counter.read()
        ended = os.WEXITSTATUS(status) if os.WIFEXITED(status) else None
        out, err = (_drain(fd) for fd in (self.out, self.err))
        return Ended(ended, out, err, steps, bool(flag), time.monotonic() - self.began, hung)

    def kill(self) -> None:
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self.pid, signal.SIGKILL)


def _drain(fd: int) -> str:
    os.lseek(fd, 0, os.SEEK_SET)
    with os.fdopen(fd, "rb") as file:
        return file.read().decode("utf-8", "replace")


def begin(work: Callable[[], Any], plan: Plan | None = None, *, stdin: int | None = None) -> Child:
    """Fork a child that works under a plan. Its return value, or SystemExit, is its status."""
    counter = Counter()
    sys.stdout.flush()
    out, err = os.memfd_create("out"), os.memfd_create("err")
    pid = os.fork()
    if pid:
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.setpgid(pid, pid)
        return Child(pid, out, err, counter)
    status = 70
    try:
        os.setpgid(0, 0)
        os.dup2(os.open(os.devnull, os.O_RDONLY) if stdin is None else stdin, 0)
        os.dup2(out, 1)
        os.dup2(err, 2)
        signal.signal(signal.SIGINT, signal.default_int_handler)
        if plan is not None:
            Layer(plan, counter).put_on()
        _flags.append(counter)
        found = work()
        status = found if isinstance(found, int) else 0
    except SystemExit as end:
        status = end.code if isinstance(end.code, int) else int(bool(end.code))
    except BaseException:  # what a person would see as a traceback
        status = 70
        with contextlib.suppress(BaseException):
            os.write(2, traceback.format_exc().encode())
    finally:
        with contextlib.suppress(BaseException):
            sys.stdout.flush()
            sys.stderr.flush()
        with contextlib.suppress(BaseException):  # as at the end of an interpreter
            from django.db import connections

            connections.close_all()
        os._exit(status)


_flags: list[Counter] = []


def flag() -> None:
    """In a child: the work that the parent waits for is done."""
    _flags[-1].raise_flag()


def run(work: Callable[[], Any], plan: Plan | None = None, *, kill_after_s: float | None = None) -> Ended:
    """Begin and wait."""
    return begin(work, plan).wait(kill_after_s=kill_after_s)


def trod(*words: str) -> Callable[[], Any]:
    """Work: a command as a person gives it."""

    def work() -> Any:
        from trod.commands import main

        return main(args=list(words), prog_name="trod")

    return work
