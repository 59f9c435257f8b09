"""Whose name is written beside what is done: the caller of a page, else whoever is logged in on this machine."""

from __future__ import annotations

import getpass
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_asking: ContextVar[Callable[[], str] | None] = ContextVar("asking", default=None)


def who() -> str:
    """Whoever asked for what is done now: the caller of the page, else the person logged in on this machine."""
    asking = _asking.get()
    return asking() if asking is not None else machine_person()


@contextmanager
def asked_by(name: Callable[[], str]) -> Iterator[None]:
    """What is done inside is done for the one whom `name` tells, asked only when it is needed."""
    token = _asking.set(name)
    try:
        yield
    finally:
        _asking.reset(token)


def machine_person() -> str:
    """The name of whoever is logged in on this machine."""
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):  # an account without a name
        return "someone"
