"""How long work tells how far it is: the same three calls for a job, a command and a test."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Protocol

from django.db import transaction


class Line(Protocol):
    """Progress, results kept together with progress, and the wish to stop. `trod.catalogue.jobs.Report` is one."""

    def step(self, done: int, total: int, message: str = "") -> None:
        """Say how far the work is. May raise Stopped."""

    def saving(self, done: int, total: int, message: str = "") -> AbstractContextManager[None]:
        """Keep what is stored inside and the progress in one transaction. May raise Stopped afterwards."""
        ...

    def stop(self) -> bool:
        """Whether the work is to stop."""
        ...


class Silent:
    """Tells nobody and never stops."""

    def step(self, done: int, total: int, message: str = "") -> None:
        return None

    @contextmanager
    def saving(self, done: int, total: int, message: str = "") -> Iterator[None]:
        with transaction.atomic():
            yield

    def stop(self) -> bool:
        return False


def teller(line: Line, message: str) -> Callable[[int, int], None]:
    """A `progress(done, total)` for the core that tells this line."""

    def tell(done: int, total: int) -> None:
        line.step(done, total, message)

    return tell
