"""Answers kept in memory while nothing in the evidence changes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

from trod.catalogue.answers import evidence
from trod.catalogue.answers.evidence import Account
from trod.errors import NotEnoughEvidence

MOST_KEPT = 32
_kept: OrderedDict[Any, tuple[Any, NotEnoughEvidence | None]] = OrderedDict()
_lock = threading.Lock()
T = TypeVar("T")


def answered(
    account: Account, key: Hashable, work: Callable[[], T], *, long: bool = False
) -> tuple[T | None, NotEnoughEvidence | None]:
    """An answer, or the reason why there is none; the same key of the same evidence is answered from memory.

    long : it takes seconds, however small the record is. Raises StillReading when somebody waits for such a one, or the
    record is large.
    """
    whole = (account.stamp, key)
    with _lock:
        if whole in _kept:
            _kept.move_to_end(whole)
            return _kept[whole]
    if long and evidence.in_a_hurry.get():
        many = len(account.evidence.observations) + len(account.evidence.unseen)
        raise evidence.StillReading(many, lambda: answered(account, key, work))
    evidence.leave_if_long(account, lambda: answered(account, key, work))
    made: tuple[T | None, NotEnoughEvidence | None]
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
