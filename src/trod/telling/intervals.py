"""What the independence interval does to a rate, told."""

from __future__ import annotations

from collections.abc import Sequence

from trod import wording
from trod.findings.intervals import AtInterval
from trod.findings.rates import PER_DAYS


def name(minutes: float) -> str:
    """An interval as it stands under a mark: '0', '15 min', '6 h', '1 day'."""
    if minutes >= 1440 and minutes % 1440 == 0:
        return wording.plural(int(minutes // 1440), "day")
    if minutes >= 60 and minutes % 60 == 0:
        return f"{minutes / 60:g} h"
    return f"{minutes:g} min" if minutes else "0"


def sentence(who: str, rows: Sequence[AtInterval]) -> str:
    """What the choice of the interval comes to: the rates at both ends and at the one in use."""
    told = [row for row in rows if row.rate.value is not None]
    if not told:
        return f"No rate of {who} can be told at any interval: too little is known to have been watched."
    if not any(row.detections for row in told):
        return f"None of {who} was seen, so the interval makes no difference."
    first, last = told[0], told[-1]
    asked = next((row for row in told if row.asked), None)
    per = f"per {PER_DAYS:g} camera-days"
    if first.detections == last.detections:
        return (
            f"The interval makes no difference here: {wording.number(_of(first))} {per} whether observations that only "
            f"overlap are one detection or all of a day."
        )
    middle = f", and {wording.number(_of(asked))} at the {wording.lasting(60 * asked.minutes)} in use" if asked else ""
    return (
        f"The rate goes from {wording.number(_of(first))} {per}, when only observations that overlap are one detection, "
        f"to {wording.number(_of(last))}, when all within a day of one another are{middle}."
    )


def _of(row: AtInterval) -> float:
    assert row.rate.value is not None
    return row.rate.value
