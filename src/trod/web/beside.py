"""Work of some seconds that a page starts and asks after, in a thread beside the pages; held in memory only.

For what writes nothing and may be done again: where work must survive a restart, or writes, it is a job
(`trod.catalogue.jobs`). A page starts it, shows how far it is, and asks again; whoever asks for the same gets the
same work.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from trod.errors import TrodError

BUSY = "Several such works are under way already; try again in a moment."
Progress = Callable[[int, int], None]


@dataclass
class Work:
    """One work, under way or done. result : once it is done. trouble : why it cannot be, in words."""

    done: int = 0
    total: int = 1
    result: Any = None
    trouble: str = ""
    ended: threading.Event = field(default_factory=threading.Event)

    @property
    def failed(self) -> bool:
        return self.ended.is_set() and bool(self.trouble)


class Works:
    """Works of one kind by their keys: one at a time, a few waiting, the last ones held."""

    def __init__(self, *, most_kept: int, most_waiting: int) -> None:
        self.most_kept, self.most_waiting = most_kept, most_waiting
        self._held: OrderedDict[str, Work] = OrderedDict()
        self._lock = threading.Lock()
        self._turn = threading.Lock()  # the pages need the machine, too

    def get(self, key: str) -> Work | None:
        """The work of a key, if it is held."""
        with self._lock:
            work = self._held.get(key)
            if work is not None:
                self._held.move_to_end(key)
            return work

    def begin(self, key: str, do: Callable[[Progress], Any], *, total: int = 1) -> Work:
        """The work of a key: held already, unless it failed; else begun now, unless too many wait.

        do : given `progress(done, of)`, gives the result. It must ask nothing of the database.
        """
        with self._lock:
            work = self._held.get(key)
            if work is not None and not work.failed:
                self._held.move_to_end(key)
                return work
            if sum(not one.ended.is_set() for one in self._held.values()) >= self.most_waiting:
                refused = Work(trouble=BUSY)
                refused.ended.set()
                return refused
            work = self._held[key] = Work(total=max(1, total))
            self._held.move_to_end(key)
            for old in [k for k, one in self._held.items() if one.ended.is_set()]:
                if len(self._held) > self.most_kept:
                    del self._held[old]
        threading.Thread(target=self._do, args=(work, do), name="beside", daemon=True).start()
        return work

    def _do(self, work: Work, do: Callable[[Progress], Any]) -> None:
        def progress(done: int, of: int) -> None:
            work.done, work.total = done, max(1, of)

        try:
            with self._turn:
                work.result = do(progress)
        except TrodError as trouble:
            work.trouble = str(trouble)
        except Exception as trouble:  # a fault must not leave a page that waits for ever
            work.trouble = f"An unforeseen fault ({type(trouble).__name__}: {trouble}). Nothing is lost; try again."
        finally:
            work.ended.set()

    def forget(self) -> None:
        """Drop what is held."""
        with self._lock:
            self._held.clear()
