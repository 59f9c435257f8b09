"""A progress bar on stderr for the long verbs; silent when nobody looks."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TaskProgressColumn, TextColumn, TimeRemainingColumn


class Bar:
    """A line of progress (see trod.catalogue.line). One row for each message it hears."""

    def __init__(self, *, shown: bool | None = None) -> None:
        console = Console(stderr=True)
        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            TaskProgressColumn(),
            TimeRemainingColumn(compact=True),
            console=console,
            disable=not (console.is_terminal if shown is None else shown),
        )
        self._rows: dict[str, TaskID] = {}

    def __enter__(self) -> Bar:
        self._progress.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._progress.stop()

    def step(self, done: int, total: int, message: str = "", *, force: bool = False) -> None:
        if message not in self._rows:
            self._rows[message] = self._progress.add_task(message or "Working", total=max(1, total))
        self._progress.update(self._rows[message], completed=done if total else 1, total=max(1, total))

    @contextmanager
    def saving(self, done: int, total: int, message: str = "") -> Iterator[None]:
        from django.db import transaction

        with transaction.atomic():
            yield
        self.step(done, total, message)

    def stop(self) -> bool:
        """Ctrl-C is how a person stops a command."""
        return False


def is_terminal() -> bool:
    """Whether there is somebody to ask."""
    return sys.stdin.isatty() and sys.stderr.isatty()
