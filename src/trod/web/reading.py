"""A page that rests on the whole record does not wait until a large one is read.

What is read, and what was asked of it, stays in memory (`catalogue.answers`). The first page that asks for
it after a start finds nothing there: where there is much to read or to count, a thread beside the pages does it, the
page says so, and loads itself again when it is there. It writes nothing.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.db import connection
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render

from trod.catalogue.answers import answers, evidence
from trod.errors import TrodError
from trod.findings import Filter

MARK = "reading"  # the element that asks whether it is there
_lock = threading.Lock()
_at_work: threading.Thread | None = None


def without_waiting(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """The view, or a page that says that the record is being read and loads itself again when it is."""

    @wraps(view)
    def seen(request: HttpRequest, *args: Any, **more: Any) -> HttpResponseBase:
        before = evidence.in_a_hurry.set(True)
        try:
            answer = view(request, *args, **more)
        except evidence.StillReading as still:
            begin(still.todo or read)
            context = {"sequences": still.sequences, "counting": still.todo is not None, "mark": MARK}
            return render(request, f"trod/{'reading_bar' if _asks(request) else 'reading'}.html", context)
        finally:
            evidence.in_a_hurry.reset(before)
        return HttpResponse(headers={"HX-Refresh": "true"}) if _asks(request) else answer

    return seen


def _asks(request: HttpRequest) -> bool:
    return request.headers.get("HX-Target") == MARK


def begin(todo: Callable[[], Any]) -> None:
    """Do it beside the pages, unless something is being done there: the page that asks again begins it then."""
    global _at_work
    with _lock:
        if _at_work is None or not _at_work.is_alive():
            _at_work = threading.Thread(target=_do_and_close, args=(todo,), name="reading", daemon=True)
            _at_work.start()


def _do_and_close(todo: Callable[[], Any]) -> None:
    try:
        with contextlib.suppress(TrodError):  # whoever asks is told why
            todo()
    finally:
        connection.close()


def read() -> None:
    """Read the record into memory, and answer the question that stands first."""
    answers.answer("what-comes", Filter(), evidence.gather(answers.the_reserve()))
