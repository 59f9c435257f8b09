"""Answers kept in memory while nothing in the evidence changes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any

from trod.catalogue.answers import evidence
from trod.catalogue.answers.evidence import Account
from trod.errors import NotEnoughEvidence
from trod.findings import Finding

MOST_KEPT = 32
_kept: OrderedDict[Any, tuple[Finding | None, NotEnoughEvidence | None]] = OrderedDict()
_lock = threading.Lock()


def answered(
    account: Account, key: Hashable, work: Callable[[], Finding]
) -> tuple[Finding | None, NotEnoughEvidence | None]:
    """A finding, or the reason why there is none; the same key of the same evidence is answered from memory.

    Raises StillReading when somebody waits and the record is large.
    """
    whole = (account.stamp, key)
    with _lock:
        if whole in _kept:
            _kept.move_to_end(whole)
            return _kept[whole]
    evidence.leave_if_long(account, lambda: answered(account, key, work))
    made: tuple[Finding | None, NotEnoughEvidence | None]
    try:
        made = work(), None
    except NotEnoughEvidence as why:
        made = None, why
    with _lock:
        _kept[whole] = made
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return made


def key_of(*filters: Any) -> tuple[str, ...]:
    """What tells these filters from others, names included."""
    return tuple(repr((one.to_dict(), sorted(one.species_names.items()))) for one in filters)
