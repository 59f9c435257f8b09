"""Shares and chances: whole per cent, never a false none or all."""

from __future__ import annotations

import math


def share(value: float) -> str:
    """A share 0..1 as whole per cent; 'under 1 %' and 'over 99 %' rather than a false 0 or 100."""
    if math.isnan(value):
        return "unknown"
    if 0 < value < 0.01:
        return "under 1 %"
    if 0.99 < value < 1:
        return "over 99 %"
    return percent(100 * value)


def percent(value: float) -> str:
    """A value that is in per cent already: '40 %'."""
    return f"{round(value)} %"


def in_100(chance: float) -> str:
    """A chance 0..1 that is neither sure nor ruled out, as '12 in 100': at least 1, at most 99."""
    return f"{min(99, max(1, round(100 * chance)))} in 100"
